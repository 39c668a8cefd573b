package telling

// Cautions are what to mind, for eyes and way.
var Cautions = []string{
	"Never look at the sun, neither past the rod nor through a camera's finder.",
	"Cap the rod: a bare end at eye height blinds.",
	"No rod and no board before an airbag or a face.",
	"The driver does not read, photograph or type under way. Stop, or let another.",
	"Never the sole means of navigation: check every heading by another.",
}

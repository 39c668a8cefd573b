package onpage

import (
	"regexp"
	"strings"
)

// phrases are what the page has in the place of the command line's options.
// The longest come first. A test holds that none is missing.
var phrases = strings.NewReplacer(
	"give --utc-offset, the camera clock's difference from UTC, or --position", "set the UTC offset of the camera's clock in the settings, or give the place",
	"give --utc-offset, the camera clock's difference from UTC, or --time", "set the UTC offset of the camera's clock in the settings, or state the time by hand",
	"give --utc-offset, the camera clock's difference from UTC", "set the UTC offset of the camera's clock in the settings",
	"give the shadow's length (--length) and the rod's height (--rod-height)", "give the shadow's length beside the number, and the rod's height in the settings",
	"give --rod-height", "set it in the settings",
	"Say --body moon if it was the moon", "Say so if it was the moon",
	"put a nodus on the rod (--nodus-height)", "put a nodus on the rod and its height into the instrument's record",
	"without the offset and give --utc-offset", "without the offset, by this device's or the settings'",
	"Leave --plumb-line out, or take the instrument's own record", "Take the rod's own record in the settings",
	"give --position LAT,LON", "give the place by this device or by hand",
	"If they are right, say --body", "If they are right, say whether it was the sun or the moon",
	"give --time", "state the time by hand",
	"(--level-sigma)", "(level, in the settings)",
	" (--board-sigma, --square-sigma)", "",
)

var option = regexp.MustCompile(`--[a-z]`)

// onPage puts a sentence that speaks of the command line's options into the page's words.
func onPage(text string) string {
	if !option.MatchString(text) {
		return text
	}
	return phrases.Replace(text)
}

func onPageAll(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = onPage(s)
	}
	return out
}

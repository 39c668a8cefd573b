package logbook

// Primary result codes of SQLite (sqlite.org, "Result and Error Codes").
const (
	codeNoPermission = 3
	codeBusy         = 5
	codeLocked       = 6
	codeReadOnly     = 8
	codeInterrupt    = 9
	codeCorrupt      = 11
	codeIO           = 10
	codeFull         = 13
	codeCannotOpen   = 14
	codeNoDatabase   = 26
)

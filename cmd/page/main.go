//go:build js

// Command page is the program as a page in a browser has it, as WebAssembly: it hands what
// the page asks for to internal/onpage.
package main

import (
	"runtime/debug"
	"syscall/js"

	"shadowread/internal/onpage"
)

// Set by the build.
var version, commit string

func main() {
	// A photo of 12 megapixels leaves as much garbage as it takes; a phone has little.
	debug.SetGCPercent(50)
	program := &onpage.Program{Version: version, Commit: commit}
	call := js.FuncOf(func(_ js.Value, args []js.Value) any {
		var photo []byte
		if len(args) > 2 && args[2].Truthy() {
			photo = make([]byte, args[2].Length())
			js.CopyBytesToGo(photo, args[2])
		}
		progress := func(stage string, answer []byte) {
			if tell := js.Global().Get("shadowreadProgress"); tell.Type() == js.TypeFunction {
				tell.Invoke(stage, string(answer))
			}
		}
		answer, picture := program.Call(args[0].String(), []byte(args[1].String()), photo, progress)
		out := map[string]any{"json": string(answer), "bytes": nil}
		if picture != nil {
			bytes := js.Global().Get("Uint8Array").New(len(picture))
			js.CopyBytesToJS(bytes, picture)
			out["bytes"] = bytes
		}
		return out
	})
	js.Global().Set("shadowread", map[string]any{"call": call})
	if ready := js.Global().Get("shadowreadReady"); ready.Type() == js.TypeFunction {
		ready.Invoke()
	}
	select {}
}

package proof

import (
	"context"
	"runtime"
	"strings"
	"testing"
)

// A small part of make soak's damage, from a fixed seed: of photos that the path tracer
// made, whatever is still read has the shadow where the sound photo has it, to four
// sigma. Of 600 turned bits 17 had given a wrong one while nobody heard the decoder.
func TestDamage(t *testing.T) {
	if testing.Short() {
		t.Skip("reads a hundred and sixty files")
	}
	rep, err := Damage(context.Background(), DamageOptions{
		Dirs: []string{"../../fixtures/independent"}, Photos: 4, Mutations: 80, Flips: 80, Seed: 9, Workers: runtime.NumCPU(),
	})
	if err != nil {
		t.Fatal(err)
	}
	var table strings.Builder
	rep.Print(&table)
	t.Log(table.String())
	if len(rep.Wrong) > 0 {
		t.Error("damaged photos are read wrongly")
	}
	if rep.Files != 160 || rep.Refused["unreadable_file"] < 40 {
		t.Errorf("%d files, %d unreadable; want 160 and a quarter of them at least", rep.Files, rep.Refused["unreadable_file"])
	}
}

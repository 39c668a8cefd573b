package sheet

import (
	"crypto/sha256"
	"encoding/hex"
	"math/bits"
	"strconv"
	"testing"

	"shadowread/internal/testtable"
)

// dictionary returns OpenCV's codes by id; the source stands in the file.
func dictionary(t *testing.T) []uint16 {
	t.Helper()
	var out []uint16
	for i, row := range testtable.Read(t, "testdata/aruco_4x4_50.csv") {
		code, err := strconv.ParseUint(row["code_hex"], 16, 16)
		if err != nil || row["id"] != strconv.Itoa(i) {
			t.Fatalf("row %d: %v, %v", i, row, err)
		}
		out = append(out, uint16(code))
	}
	if len(out) != 50 {
		t.Fatalf("%d codes, want 50", len(out))
	}
	return out
}

// pack is the code of bits as seen on a mark.
func pack(b [4][4]bool) (code uint16) {
	for i := range 16 {
		code <<= 1
		if b[i/4][i%4] {
			code |= 1
		}
	}
	return code
}

// quarterTurn turns the 4x4 bits clockwise.
func quarterTurn(code uint16) (out uint16) {
	for i := range 16 {
		row, col := i/4, i%4
		out |= code >> (15 - i) & 1 << (15 - (4*col + 3 - row))
	}
	return out
}

func TestStandardSheetIsAsPublished(t *testing.T) {
	// The digest of the standard sheet, version 1, as it was handed out. A change
	// here would make every sheet that is already printed read wrong: a new
	// geometry needs a new version.
	const published = "17d548fba2687f6b44c0cc0d6f239c02ad35414f49c91a46a285f383f022e0ef"
	sum := sha256.Sum256(standardJSON)
	if got := hex.EncodeToString(sum[:]); got != published {
		t.Errorf("standard-sheet.json has digest %s, published %s", got, published)
	}
	if Standard.Version != 1 || len(Standard.Marks) != 12 {
		t.Errorf("version %d with %d marks, want version 1 with 12", Standard.Version, len(Standard.Marks))
	}
}

func TestModuleBitsAreThoseOfOpenCV(t *testing.T) {
	codes := dictionary(t)
	for _, m := range Standard.Marks {
		bits, ok := ModuleBits(m.ID)
		if got, want := pack(bits), codes[m.ID]; !ok || got != want {
			t.Errorf("mark %d: code %04x, ok %v; OpenCV has %04x", m.ID, got, ok, want)
		}
	}
	for _, id := range []int{-1, 3, 16, 50} {
		if _, ok := ModuleBits(id); ok {
			t.Errorf("mark %d is not on the standard sheet but has bits", id)
		}
	}
}

func TestMarksDifferEnough(t *testing.T) {
	// OpenCV corrects one bit in this dictionary (maxCorrectionBits 1 in
	// predefined_dictionaries.hpp), so any two codes, turned by quarters, must lie
	// more than twice that apart; the dictionary's distance is 4. A code that
	// equals itself turned would leave the mark's orientation open.
	const least = 4
	for _, a := range Standard.Marks {
		for _, b := range Standard.Marks {
			x, _ := ModuleBits(a.ID)
			y, _ := ModuleBits(b.ID)
			turned := pack(y)
			for quarter := range 4 {
				if d := bits.OnesCount16(pack(x) ^ turned); d < least && (a.ID != b.ID || quarter > 0) {
					t.Errorf("mark %d and mark %d turned by %d quarters differ in %d bits, want %d", a.ID, b.ID, quarter, d, least)
				}
				turned = quarterTurn(turned)
			}
		}
	}
}

func TestMarkCorners(t *testing.T) {
	// Worked by hand from the published centres and sides.
	for _, tt := range []struct {
		id   int
		want [4]Point
	}{
		{4, [4]Point{{-88, 88}, {-66, 88}, {-66, 66}, {-88, 66}}},
		{6, [4]Point{{66, -66}, {88, -66}, {88, -88}, {66, -88}}},
		{9, [4]Point{{21, 88}, {35, 88}, {35, 74}, {21, 74}}},
		{14, [4]Point{{-88, -21}, {-74, -21}, {-74, -35}, {-88, -35}}},
	} {
		for _, m := range Standard.Marks {
			if m.ID == tt.id && m.Corners() != tt.want {
				t.Errorf("mark %d: corners %v, want %v", m.ID, m.Corners(), tt.want)
			}
		}
	}
}

func TestTickStep(t *testing.T) {
	for deg, want := range map[int]int{0: 10, 1: 1, 5: 5, 10: 10, 15: 5, 44: 1, 355: 5, 350: 10} {
		if got := TickStep(deg); got != want {
			t.Errorf("TickStep(%d) = %d, want %d", deg, got, want)
		}
	}
}

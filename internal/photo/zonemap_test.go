//go:build !nozones

package photo

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/ringsaturn/tzf"
	lite "github.com/ringsaturn/tzf-rel-lite"
	pb "github.com/ringsaturn/tzf/gen/go/tzf/v1"
	"google.golang.org/protobuf/proto"
)

// The tiles say what the library says of them.
func TestTilesAreThoseOfTheLibrary(t *testing.T) {
	var tiles pb.PreindexTimezones
	if err := proto.Unmarshal(lite.PreindexData, &tiles); err != nil {
		t.Fatal(err)
	}
	library, err := tzf.NewFuzzyFinderFromPB(&tiles)
	if err != nil {
		t.Fatal(err)
	}
	ours, err := zoneTiles()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 1))
	gaps, several := 0, 0
	for range 50_000 {
		lon, lat := 360*random.Float64()-180, 180*random.Float64()-90
		want, failed := library.GetTimezoneNames(lon, lat)
		if got, err := ours.GetTimezoneNames(lon, lat); !slices.Equal(got, want) || err != failed {
			t.Fatalf("%.4f %.4f: %v (%v), by the library %v (%v)", lat, lon, got, err, want, failed)
		}
		if failed != nil {
			gaps++
		}
		if len(want) > 1 {
			several++
		}
	}
	if gaps == 0 || several == 0 {
		t.Errorf("%d places in gaps, %d in tiles of several zones: these are not compared", gaps, several)
	}
}

//go:build !nozones

package photo

import (
	"slices"
	"sync"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/maptile"
	"github.com/ringsaturn/tzf"
	lite "github.com/ringsaturn/tzf-rel-lite"
	pb "github.com/ringsaturn/tzf/gen/go/tzf/v1"
	"google.golang.org/protobuf/proto"
)

// zoneMap is the map of civil time zones (OpenStreetMap boundaries, simplified).
// Unpacking it takes a good part of a second, so it happens once and only for a
// photo that needs it.
var zoneMap = sync.OnceValues(func() (zoneFinder, error) {
	var packed pb.CompressedTimezones
	if err := proto.Unmarshal(lite.LiteCompressData, &packed); err != nil {
		return nil, err
	}
	return tzf.NewFinderFromCompressed(&packed, tzf.SetDropPBTZ)
})

// zoneTiles is a coarse form of zoneMap, loaded in some milliseconds. It has gaps along
// the borders.
var zoneTiles = sync.OnceValues(func() (zoneFinder, error) {
	var tiles pb.PreindexTimezones
	if err := proto.Unmarshal(lite.PreindexData, &tiles); err != nil {
		return nil, err
	}
	return newTileZones(&tiles), nil
})

// tileZones finds what the library's FuzzyFinder does, in a table without pointers: that keeps a
// string and a slice for each of some 80,000 tiles, and every turn of the garbage collector, one for
// each photo, goes through them all.
type tileZones struct {
	coarse, fine maptile.Zoom
	last         map[maptile.Tile]uint32 // where in all a tile's last zone is
	all          []tileZone
	names        []string
}

// tileZone is a zone of a tile, and where its zone before is; 0 for none.
type tileZone struct{ name, before uint32 }

func newTileZones(tiles *pb.PreindexTimezones) *tileZones {
	t := &tileZones{
		coarse: maptile.Zoom(tiles.AggZoom), fine: maptile.Zoom(tiles.IdxZoom),
		last: make(map[maptile.Tile]uint32, len(tiles.Keys)),
		all:  make([]tileZone, 1, len(tiles.Keys)+1),
	}
	known := map[string]uint32{}
	for _, k := range tiles.Keys {
		name, ok := known[k.Name]
		if !ok {
			name = uint32(len(t.names))
			known[k.Name], t.names = name, append(t.names, k.Name)
		}
		at := maptile.New(uint32(k.X), uint32(k.Y), maptile.Zoom(k.Z))
		t.all = append(t.all, tileZone{name, t.last[at]})
		t.last[at] = uint32(len(t.all) - 1)
	}
	return t
}

// GetTimezoneNames names the zones of the largest tile about a place that has any.
func (t *tileZones) GetTimezoneNames(longitude, latitude float64) (names []string, err error) {
	for z := t.coarse; z <= t.fine; z++ {
		for i := t.last[maptile.At(orb.Point{longitude, latitude}, z)]; i > 0; i = t.all[i].before {
			names = append(names, t.names[t.all[i].name])
		}
		if names != nil {
			slices.Reverse(names)
			return names, nil
		}
	}
	return nil, tzf.ErrNoTimezoneFound
}

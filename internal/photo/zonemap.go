//go:build !nozones

package photo

import (
	"sync"

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
	return tzf.NewFuzzyFinderFromPB(&tiles)
})

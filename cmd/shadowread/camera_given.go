package main

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
)

// cameraGiven is the name of --camera, as photos say it: of a photo, that which it carries. A
// mistyped file is no camera.
func (f *settingsFlags) cameraGiven() (string, error) {
	_, err := os.Stat(f.camera)
	if err != nil && !slices.Contains(photoEndings, strings.ToLower(filepath.Ext(f.camera))) {
		name := strings.Join(strings.Fields(f.camera), " ")
		if name == "" {
			return "", fault.Usage("bad_camera", "give one of its photos, or the name that they carry", "--camera has no name")
		}
		f.typed = name
		return name, nil
	}
	if err := thereIs(f.camera); err != nil {
		return "", err
	}
	facts, err := photo.ReadFacts(photofile.At(f.camera))
	if err != nil {
		return "", fault.New(fault.Code(err), fault.Hint(err), "%s: %s", f.camera, err)
	}
	name := cameraName(facts)
	if name == "" {
		return "", fault.New("unknown_camera", "give the name that other photos of it carry", "%s does not name its camera", f.camera)
	}
	return name, nil
}

// mostLookedAt bounds how many photos of a folder are asked for their camera.
const mostLookedAt = 200

// tellUnseen says of a camera's name that was typed where no photo carries it: its clock error
// would never be used, without a word.
func (f *settingsFlags) tellUnseen(s *streams, change *logbook.Settings, holds logbook.Settings) {
	known := holds.Cameras != nil && slices.ContainsFunc(*holds.Cameras, func(c logbook.Camera) bool { return strings.EqualFold(c.Name, f.typed) })
	if f.typed == "" || known || strings.EqualFold(f.typed, f.lensOf) {
		return
	}
	const hint = "what is stated of it counts for photos that carry this name: to be sure, give one of them, --camera PHOTO"
	folder := cmp.Or(change.Photos, holds.Photos)
	if folder == nil {
		s.note("camera_not_seen", "no photo has told of a camera %s yet; %s", f.typed, hint)
		return
	}
	j := &journeySettings{set: &logbook.Settings{Cameras: &[]logbook.Camera{{Name: f.typed}}}}
	quiet := *s
	quiet.quiet = true
	paths, _ := expand(&quiet, []string{*folder}) // without a folder there is no photo
	var others []string
	for _, path := range slices.Backward(paths[max(0, len(paths)-mostLookedAt):]) {
		facts, err := photo.ReadFacts(photofile.At(path))
		if err != nil {
			continue
		}
		if j.cameraOf(facts) != nil {
			return
		}
		if name := cameraName(facts); name != "" && !slices.Contains(others, name) {
			others = append(others, name)
		}
	}
	by := ""
	if len(others) > 0 {
		by = fmt.Sprintf(" (they are by %s)", someOf(others))
	}
	s.note("camera_not_seen", "no photo in %s is by a camera %s%s; %s", *folder, f.typed, by, hint)
}

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coursegauge/calibrate/lens"
	"coursegauge/calibrate/print"
	"coursegauge/vision"
	"coursegauge/vision/photo"
)

// known is what the user gave beside the photos: proved cards and learned lenses.
type known struct {
	cards    map[int]vision.Print
	profiles []namedProfile
	auto     bool // the first profile that fits counts; else the one that was named
}

type namedProfile struct {
	lens.Profile
	path string
}

// settingsText is where the user's settings usually lie.
const settingsText = "coursegauge below $XDG_CONFIG_HOME or ~/.config"

// autoCamera is the value of --camera that lets the photos choose.
const autoCamera = "auto"

// newKnown reads the files of --card and --camera, either of which may be "".
func newKnown(t *terminal, cardFile, camera string, photos []photoFile) (*known, error) {
	k := &known{auto: camera == autoCamera}
	if cardFile != "" {
		f, err := readCards(cardFile)
		if err != nil {
			return nil, err
		}
		k.cards = f.Prints()
	}
	switch {
	case camera == "":
		return k, nil
	case k.auto:
		k.profiles = findProfiles(t, photos)
		if len(k.profiles) == 0 {
			t.tell("--camera auto: no profile (*%s) in %s", lens.Ext, strings.Join(profileFolders(photos), ", "))
		}
		return k, nil
	}
	data, err := readFile(camera)
	if err != nil {
		return nil, usageError{fmt.Sprintf("--camera %s: %v", camera, err), "coursegauge camera learn writes a profile; --camera auto looks for one"}
	}
	p, err := lens.Parse(data)
	if err != nil {
		return nil, usageError{fmt.Sprintf("--camera %s: %s", camera, oneLine(err.Error())), "coursegauge camera learn writes a profile"}
	}
	k.profiles = []namedProfile{{p, camera}}
	return k, nil
}

func readCards(path string) (print.File, error) {
	data, err := readFile(path)
	if err != nil {
		return print.File{}, usageError{fmt.Sprintf("--card %s: %v", path, err), "coursegauge card prove writes a card file"}
	}
	f, err := print.Parse(data)
	if err != nil {
		return print.File{}, usageError{fmt.Sprintf("--card %s: %s", path, oneLine(err.Error())), "coursegauge card prove writes a card file"}
	}
	return f, nil
}

// profileFolders are where --camera auto looks: beside the photos, in the
// working folder, in the user's own folder of settings.
func profileFolders(photos []photoFile) []string {
	var out []string
	add := func(dir string) {
		if dir = filepath.Clean(dir); !slices.Contains(out, dir) {
			out = append(out, dir)
		}
	}
	for _, p := range photos {
		add(filepath.Dir(p.path))
	}
	add(".")
	if dir, err := os.UserConfigDir(); err == nil {
		add(filepath.Join(dir, "coursegauge"))
	}
	return out
}

// lookedIn tells whether --camera auto looks into a folder wherever the photos lie.
func lookedIn(folder string) bool {
	return slices.ContainsFunc(profileFolders(nil), func(dir string) bool { return identity(dir) == identity(folder) })
}

// findProfiles reads every profile there is; one that cannot be read is told and left out.
func findProfiles(t *terminal, photos []photoFile) (out []namedProfile) {
	for _, dir := range profileFolders(photos) {
		paths, _ := filepath.Glob(filepath.Join(escapePattern(dir), "*"+lens.Ext))
		for _, path := range paths {
			data, err := readFile(path)
			if err == nil {
				var p lens.Profile
				if p, err = lens.Parse(data); err == nil {
					out = append(out, namedProfile{p, path})
				}
			}
			if err != nil {
				t.warn("--camera auto: %s left out: %s", path, oneLine(err.Error()))
			}
		}
	}
	return out
}

// of is what is known of one photo: its cards, and a lens only if it is that
// of the photo. Why a lens was taken or not stands among the photo's checks.
func (k *known) of(pic *photo.Picture) vision.Known {
	if k == nil {
		return vision.Known{}
	}
	out := vision.Known{Cards: k.cards}
	if len(k.profiles) == 0 {
		return out
	}
	list := make([]lens.Profile, len(k.profiles))
	for i := range list {
		list[i] = k.profiles[i].Profile
	}
	at, why := lens.Choose(list, pic.Facts, pic.Header.Width, pic.Header.Height)
	if at < 0 {
		// with auto, a photo without a profile is nothing to look into
		out.Checks = []vision.Check{{Name: "camera profile", OK: k.auto, Text: "no camera profile was used: " + why}}
		return out
	}
	prior, err := list[at].Upright(pic.Facts.Orientation)
	if err != nil {
		return out
	}
	out.Lens = prior
	out.Checks = []vision.Check{{Name: "camera profile", OK: true, Text: fmt.Sprintf("lens and focal length from the profile %s", filepath.Base(k.profiles[at].path))}}
	return out
}

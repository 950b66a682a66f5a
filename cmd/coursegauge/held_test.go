package main

import (
	"encoding/json"
	"reflect"
	"testing"
)

// What is held of a photo comes back as it was, and takes less than half of what
// is written.
func TestHeldPhotosComeBack(t *testing.T) {
	for _, j := range mustInspect(t) {
		for _, p := range j.document.Photos {
			h, err := hold(p)
			if err != nil {
				t.Fatal(err)
			}
			got, err := h.photo()
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, p) {
				t.Errorf("%s: came back as something else", p.File)
			}
			written, err := json.Marshal(p)
			if err != nil {
				t.Fatal(err)
			}
			if len(p.Heads) > 0 && 2*len(h) > len(written) {
				t.Errorf("%s: %d bytes held of %d", p.File, len(h), len(written))
			}
		}
	}
}

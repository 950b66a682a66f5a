package main

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"fmt"

	"coursegauge/report/inspection"
)

// held is what is written of a photo, squeezed to some 5 kB: a batch holds it of
// every photo to its end, and stays as small with the thousandth as with the first.
type held []byte

func hold(p inspection.Photo) (held, error) {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestSpeed)
	if err != nil {
		return nil, err
	}
	if err := json.NewEncoder(w).Encode(p); err != nil {
		return nil, fmt.Errorf("hold what is written of %s: %w", p.File, err)
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return bytes.Clone(b.Bytes()), nil
}

func (h held) photo() (p inspection.Photo, err error) {
	err = json.NewDecoder(flate.NewReader(bytes.NewReader(h))).Decode(&p)
	return p, err
}

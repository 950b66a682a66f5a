package page

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"math"

	"gocv.io/x/gocv"
)

// How large pictures may be in the report. Four hundred photos, each with four
// close-ups, stay below 80 MB: a photo's pictures have some 110 kB, a third
// more in base64, and the rest is for the text.
const (
	pictureSize  = 1280 // the longer side of a photo, px
	pictureBytes = 66_000
	thumbSize    = 320 // of the photo that stands in each entry
	thumbBytes   = 6_000
	refusedSize  = 480 // of a refused photo, which nobody measures in
	refusedBytes = 14_000
	viewsBytes   = 36_000 // all close-ups of a photo
	viewMost     = 10_000 // one of them
	viewLeast    = 5_000
)

// encoding is one way to write a picture: the longer side as a share of what
// was asked for, and the quality.
type encoding struct {
	side    float64
	quality int
}

// leastLeft is what a step down in quality leaves of the bytes at the least:
// .64 to .79 were seen.
const leastLeft = .6

var encodings = []encoding{{1, 72}, {1, 52}, {1, 36}, {.85, 36}, {.7, 36}, {.55, 30}}

// shrunk is a picture, its longer side no longer than size, as a JPEG in the best
// encoding of at most so many bytes; the last one counts whatever it takes. (A
// WebP of the same bytes is a little better and takes twenty times as long.)
func shrunk(m gocv.Mat, size, most int) ([]byte, error) {
	if m.Type() != gocv.MatTypeCV8UC3 {
		return nil, fmt.Errorf("picture of type %v cannot be shown; 8 bits in B G R are needed", m.Type())
	}
	var data []byte
	small, side, expect := gocv.NewMat(), 0.0, 0.0
	defer small.Close()
	for _, e := range encodings {
		if expect *= leastLeft; e.side == side && expect > float64(most) {
			continue // it would still be too large
		}
		if e.side != side {
			side = e.side
			if err := resized(m, &small, float64(size)*side); err != nil {
				return nil, err
			}
		}
		var err error
		if data, err = jpegOf(small, gocv.IMWriteJpegQuality, e.quality, gocv.IMWriteJpegOptimize, 1); err != nil || len(data) <= most {
			return data, err
		}
		expect = float64(len(data))
	}
	return data, nil
}

// resized makes the longer side of a picture no longer than size: by halves, which
// is quick, as far as they go.
func resized(m gocv.Mat, to *gocv.Mat, size float64) error {
	if max(m.Cols(), m.Rows()) >= int(2*size) {
		half := gocv.NewMat()
		defer half.Close()
		if err := gocv.Resize(m, &half, image.Pt((m.Cols()+1)/2, (m.Rows()+1)/2), 0, 0, gocv.InterpolationArea); err != nil {
			return err
		}
		return resized(half, to, size)
	}
	k := math.Min(1, size/float64(max(m.Cols(), m.Rows())))
	at := image.Pt(max(1, int(math.Round(float64(m.Cols())*k))), max(1, int(math.Round(float64(m.Rows())*k))))
	return gocv.Resize(m, to, at, 0, 0, gocv.InterpolationLinear)
}

func jpegOf(m gocv.Mat, parameters ...int) ([]byte, error) {
	b, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, m, parameters)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	return append([]byte(nil), b.GetBytes()...), nil
}

// source is a picture as an attribute, "src" of an img or "href" of an image.
// Base64 holds nothing that an attribute in quotes must escape, so it is safe
// as it is.
func source(attribute string, jpeg []byte) template.HTMLAttr {
	return template.HTMLAttr(attribute + `="data:image/jpeg;base64,` + base64.StdEncoding.EncodeToString(jpeg) + `"`)
}

package page

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/jpeg"

	"github.com/disintegration/imaging"
	"gocv.io/x/gocv"
)

const (
	pictureSize = 1600 // the longer side of a photo in the report, px
	thumbSize   = 480  // of a refused photo, which nobody measures in
	quality     = 80   // JPEG
)

// shrunk is the photo as an attribute src="data:...", its longer side no
// longer than size.
func shrunk(m gocv.Mat, size int) (template.HTMLAttr, error) {
	full, err := rgba(m)
	if err != nil {
		return "", err
	}
	small := imaging.Fit(full, size, size, imaging.Box)
	// Opaque NRGBA and RGBA are the same bytes, and the encoder is fast on RGBA only.
	return source(&image.RGBA{Pix: small.Pix, Stride: small.Stride, Rect: small.Rect})
}

// rgba copies a BGR picture of 8 bits a channel.
func rgba(m gocv.Mat) (*image.RGBA, error) {
	if m.Type() != gocv.MatTypeCV8UC3 || !m.IsContinuous() {
		return nil, fmt.Errorf("picture of type %v cannot be shown; 8 bits in B G R are needed", m.Type())
	}
	in, err := m.DataPtrUint8()
	if err != nil {
		return nil, err
	}
	out := image.NewRGBA(image.Rect(0, 0, m.Cols(), m.Rows()))
	for i, o := 0, 0; i+2 < len(in); i, o = i+3, o+4 {
		p := out.Pix[o : o+4 : o+4]
		p[0], p[1], p[2], p[3] = in[i+2], in[i+1], in[i], 0xff
	}
	return out, nil
}

// source is a picture as an attribute. Base64 holds nothing that an attribute
// in quotes must escape, so it is safe as it is.
func source(img image.Image) (template.HTMLAttr, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return "", err
	}
	return template.HTMLAttr(`src="data:image/jpeg;base64,` + base64.StdEncoding.EncodeToString(b.Bytes()) + `"`), nil
}

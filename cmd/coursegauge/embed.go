package main

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"image"

	"gocv.io/x/gocv"

	"coursegauge/vision/photo"
)

// embedded is a picture as an attribute src="data:...", its longer side no
// longer than side. Base64 holds nothing that an attribute must escape.
func embedded(m gocv.Mat, side int) (template.HTMLAttr, error) {
	small := m
	if long := max(m.Cols(), m.Rows()); long > side {
		small = gocv.NewMat()
		defer small.Close()
		size := image.Pt(max(m.Cols()*side/long, 1), max(m.Rows()*side/long, 1))
		if err := gocv.Resize(m, &small, size, 0, 0, gocv.InterpolationArea); err != nil {
			return "", fmt.Errorf("picture: %w", err)
		}
	}
	jpeg, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, small, []int{gocv.IMWriteJpegQuality, 82})
	if err != nil {
		return "", fmt.Errorf("picture: %w", err)
	}
	defer jpeg.Close()
	return template.HTMLAttr(`src="data:image/jpeg;base64,` + base64.StdEncoding.EncodeToString(jpeg.GetBytes()) + `"`), nil
}

// embeddedPhoto is embedded for a whole photo.
func embeddedPhoto(p *photo.Picture, side int) (template.HTMLAttr, error) {
	m, err := p.AtLeast(side)
	if err != nil {
		return "", fmt.Errorf("picture: %w", err)
	}
	defer m.Close()
	return embedded(m, side)
}

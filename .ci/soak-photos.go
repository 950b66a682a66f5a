//go:build ignore

// soak-photos FROM TO N writes N photos to a folder: those of another in turn,
// each with a block of pixels of its own and a name of its own.
package main

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"log"
	"os"
	"path/filepath"
	"strconv"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 4 {
		log.Fatal("soak-photos FROM TO N")
	}
	many, err := strconv.Atoi(os.Args[3])
	if err != nil {
		log.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(os.Args[1], "*.jpg"))
	if err != nil || len(names) == 0 {
		log.Fatalf("no photos in %s", os.Args[1])
	}
	for i := range many {
		if err := write(names[i%len(names)], filepath.Join(os.Args[2], fmt.Sprintf("IMG_%04d.jpg", i+1)), i); err != nil {
			log.Fatal(err)
		}
	}
}

// decoded keeps the pictures, and exif what stands before their pixels.
var (
	decoded = map[string]*image.RGBA{}
	exif    = map[string][]byte{}
)

func write(from, to string, i int) error {
	m, ok := decoded[from]
	if !ok {
		data, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		picture, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			return err
		}
		m = image.NewRGBA(picture.Bounds())
		draw.Draw(m, m.Bounds(), picture, image.Point{}, draw.Src)
		decoded[from], exif[from] = m, segmentOf(data)
	}
	at := image.Rect(0, 0, 16, 16) // in a corner, where nothing is measured
	draw.Draw(m, at, image.NewUniform(color.RGBA{uint8(i), uint8(i >> 8), uint8(7 * i), 255}), image.Point{}, draw.Src)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 92}); err != nil {
		return err
	}
	out := append([]byte{0xFF, 0xD8}, exif[from]...)
	return os.WriteFile(to, append(out, b.Bytes()[2:]...), 0o644)
}

// segmentOf is the EXIF segment of a JPEG, with its marker and length.
func segmentOf(data []byte) []byte {
	for at := 2; at+4 < len(data) && data[at] == 0xFF && data[at+1] != 0xDA; {
		n := 2 + int(data[at+2])<<8 + int(data[at+3])
		if data[at+1] == 0xE1 && bytes.HasPrefix(data[at+4:], []byte("Exif\x00\x00")) {
			return data[at : at+n]
		}
		at += n
	}
	return nil
}

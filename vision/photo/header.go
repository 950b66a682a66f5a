package photo

import (
	"bytes"
	"fmt"
)

// The formats that are read.
const (
	formatJPEG = "jpeg"
	formatPNG  = "png"
)

// Header is what the first bytes say of a picture.
type Header struct {
	Format        string // jpeg or png
	Width, Height int    // as stored, before the orientation is applied; both over zero
}

// ReadHeader reads format and size without decoding. It is safe on any bytes
// and takes time linear in them. Every error is an *Unreadable.
func ReadHeader(b []byte) (Header, error) {
	switch {
	case len(b) == 0:
		return Header{}, unreadable(copyAgain, "the file is empty (0 bytes)")
	case bytes.HasPrefix(b, jpegStart):
		return jpegHeader(b)
	case bytes.HasPrefix(b, pngSignature):
		return pngHeader(b)
	}
	return Header{}, notAPhoto(b)
}

// otherFormats are the beginnings of files that people take for photos.
var otherFormats = []struct {
	at     int
	magic  string
	name   string
	advice string
}{
	{4, "ftyphei", "a HEIC picture", saveAsJPEG},
	{4, "ftyphev", "a HEIC picture", saveAsJPEG},
	{4, "ftypmif1", "a HEIF picture", saveAsJPEG},
	{4, "ftypavif", "an AVIF picture", saveAsJPEG},
	{4, "ftyp", "a video", "take a photo, not a video"},
	{8, "WEBP", "a WebP picture", saveAsJPEG},
	{0, "II*\x00", "a TIFF or raw picture", saveAsJPEG},
	{0, "MM\x00*", "a TIFF or raw picture", saveAsJPEG},
	{0, "GIF8", "a GIF picture", saveAsJPEG},
	{0, "%PDF", "a PDF document", saveAsJPEG},
}

// notAPhoto names what b is when that is known, and shows its start otherwise.
func notAPhoto(b []byte) *Unreadable {
	for _, f := range otherFormats {
		if len(b) > f.at && bytes.HasPrefix(b[f.at:], []byte(f.magic)) {
			return unreadable(f.advice, "the file is %s; JPEG and PNG are read", f.name)
		}
	}
	return unreadable(copyAgain, "the file is neither JPEG nor PNG: it starts with %q", b[:min(len(b), 12)])
}

// within refuses a picture of more than limit pixels (0: the default).
func (h Header) within(limit int) error {
	if limit <= 0 {
		limit = DefaultMaxPixels
	}
	if h.Width <= limit/h.Height { // no product that could overflow
		return nil
	}
	return unreadable(takeSmaller, "the picture has %d x %d pixels (%s megapixels); the limit is %s megapixels",
		h.Width, h.Height, megapixels(float64(h.Width)*float64(h.Height)), megapixels(float64(limit)))
}

func megapixels(pixels float64) string { return fmt.Sprintf("%.4g", pixels/1e6) }

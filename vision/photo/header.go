package photo

import (
	"bytes"
	"fmt"
)

// The formats that are read.
const (
	formatJPEG = "jpeg"
	formatPNG  = "png"
	formatHEIC = "heic"
	formatWebP = "webp"
	formatTIFF = "tiff"

	formatsRead = "JPEG, HEIC, PNG, WebP and TIFF"
)

// format is one kind of file and what reads it. None of the functions trusts
// the bytes; each takes time linear in them before pixels are decoded.
type format struct {
	name   string
	starts func(b []byte) bool
	header func(b []byte) (Header, error)
	sound  func(b []byte, h Header) error // walks the container to its end
	exif   func(b []byte) []byte          // the TIFF body of the EXIF, nil without
	// orientation is the container's own word, numbered as EXIF does, which then
	// counts instead of the EXIF tag; nil: the tag counts.
	orientation func(b []byte) int
	picture     func(b []byte, h Header, orientation int) (*Picture, error) // upright; without facts
	decoder     func() string                                               // its name and version, where it is told
}

var formats = []format{
	{formatJPEG, startsWith(jpegStart), jpegHeader, soundJPEG, jpegEXIF, nil, jpegPicture, nil},
	{formatPNG, startsWith(pngSignature), pngHeader, soundPNG, pngEXIF, nil, stored(openCVPixels), nil},
	{formatHEIC, startsHEIC, heicHeader, soundHEIC, heicEXIF, heicOrientation, stored(heicPixels), heicDecoder},
	{formatWebP, startsWebP, webpHeader, soundWebP, webpEXIF, nil, stored(openCVPixels), nil},
	{formatTIFF, startsTIFF, tiffHeaderOf, soundTIFF, func(b []byte) []byte { return b }, nil, stored(tiffPixels), nil},
}

func startsWith(start []byte) func([]byte) bool {
	return func(b []byte) bool { return bytes.HasPrefix(b, start) }
}

// formatOf tells the kind of a file by its first bytes, nil when it is none
// that is read.
func formatOf(b []byte) *format {
	for i := range formats {
		if formats[i].starts(b) {
			return &formats[i]
		}
	}
	return nil
}

// Header is what the first bytes say of a picture.
type Header struct {
	Format        string // jpeg, png, heic, webp or tiff
	Width, Height int    // as stored, before the orientation is applied; both over zero
}

// ReadHeader reads format and size without decoding. It is safe on any bytes
// and takes time linear in them. Every error is an *Unreadable.
func ReadHeader(b []byte) (Header, error) {
	if len(b) == 0 {
		return Header{}, unreadable(copyAgain, "the file is empty (0 bytes)")
	}
	if f := formatOf(b); f != nil {
		return f.header(b)
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
	{4, "ftypavif", "an AVIF picture", saveAsJPEG},
	{4, "ftypcrx ", "a raw file", saveAsJPEG},
	{4, "ftyphev", "a series of HEIC pictures", saveAsJPEG},
	{4, "ftypmsf1", "a series of HEIF pictures", saveAsJPEG},
	{4, "ftyp", "a video", "take a photo, not a video"},
	{4, "moov", "a video", "take a photo, not a video"},
	{8, "AVI ", "a video", "take a photo, not a video"},
	{0, "II*\x00", "a raw file", saveAsJPEG}, // what is left of those that begin as TIFF does
	{0, "GIF8", "a GIF picture", saveAsJPEG},
	{0, "%PDF", "a PDF document", saveAsJPEG},
}

// notAPhoto names what b is when that is known, and shows its start otherwise.
func notAPhoto(b []byte) *Unreadable {
	for _, f := range otherFormats {
		if len(b) > f.at && bytes.HasPrefix(b[f.at:], []byte(f.magic)) {
			return unreadable(f.advice, "the file is %s; %s are read", f.name, formatsRead)
		}
	}
	return unreadable(copyAgain, "the file is none of %s: it starts with %q", formatsRead, b[:min(len(b), 12)])
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

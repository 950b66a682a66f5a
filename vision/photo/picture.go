// Package photo turns the bytes of a photo into an upright picture and the
// facts of its EXIF.
//
// The bytes come from strangers' phones, so nothing is taken on trust: the
// container is walked before a decoder sees it (header.go, jpeg.go, png.go),
// and the EXIF library sees only a small body rebuilt from entries that were
// checked one by one (guard.go). A photo that is not sound is an *Unreadable,
// never half a picture; EXIF that is not sound costs only its facts.
//
// Decoder. Pixels come from OpenCV with its own use of the orientation turned
// off, followed by one rotation here. Best of 15 runs on a 12.2 MP photo of
// 2.9 MB in orientation 6, on a two-core server that was busy with other work
// (go test -run none -bench Decode -benchtime 1x -count 15 -cpu 1): this
// package 116 ms with walk (0.5 ms), facts and hash; OpenCV turning by itself
// 111 ms; disintegration/imaging 271 ms, and 520 ms by the time its picture is
// a Mat. So OpenCV is more than four times as fast to where the measuring
// begins. Its own turning costs about the same as ours, but goes by its own
// reading of the EXIF; here one reader decides, and facts and pixels agree.
//
// HEIC comes from libheif (package heif), asked for the picture as it is coded
// and turned by the same rotation, once, by what the container says. Which
// decoder gave the pixels is told in Facts.Decoder.
package photo

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"gocv.io/x/gocv"
)

// DefaultMaxPixels is the largest picture that is decoded unless Options says
// otherwise: 120 megapixels take 360 MB as BGR.
const DefaultMaxPixels = 120_000_000

// Options bounds what Decode accepts.
type Options struct {
	MaxPixels int // width times height; 0 means DefaultMaxPixels
}

// Picture is a decoded photo. It owns memory outside Go's heap: Close it.
type Picture struct {
	Mat    gocv.Mat // upright, 3 channels in the order B G R, 8 bits each
	Facts  Facts
	Header Header
	SHA256 string // of the file's bytes, 64 lower-case hexadecimal digits
}

// Width is the width of the upright picture in pixels.
func (p *Picture) Width() int { return p.Mat.Cols() }

// Height is the height of the upright picture in pixels.
func (p *Picture) Height() int { return p.Mat.Rows() }

// Close frees the pixels.
func (p *Picture) Close() error { return p.Mat.Close() }

// Unreadable says why bytes are not a photo that can be measured.
type Unreadable struct {
	Detail string // what was seen, with figures
	Advice string // what the person with the phone can do
}

// Error gives both on one line.
func (u *Unreadable) Error() string { return u.Detail + "; " + u.Advice }

// What a person can do about a photo that cannot be read.
const (
	copyAgain   = "copy the photo from the phone again, and take it again if that does not help"
	saveAsJPEG  = "set the phone's camera to save JPEG, or send the photo as JPEG"
	useOriginal = "use the photo as the phone saved it, not an export from another program"
	takeSmaller = "take the photo at the camera's usual size, or raise the limit"
)

func unreadable(advice, format string, args ...any) *Unreadable {
	return &Unreadable{Detail: fmt.Sprintf(format, args...), Advice: advice}
}

// Decode gives the upright picture in b, a whole file of one of the formats
// that are read, and its facts. Of a file that holds several pictures (MPO, a
// JPEG with its gain map, HEIC with depth) it is the first or the one that the
// file calls its own. Every error is an *Unreadable. The size is checked from the header
// and the structure to its end before any pixel is decoded: OpenCV itself
// answers a truncated JPEG with a full-size picture and no error.
//
// Not seen: damage inside the compressed pixels of a file that is whole
// otherwise, because only PNG carries checksums.
func Decode(b []byte, o Options) (*Picture, error) {
	header, err := ReadHeader(b)
	if err != nil {
		return nil, err
	}
	if err := header.within(o.MaxPixels); err != nil {
		return nil, err
	}
	kind := formatOf(b)
	if err := kind.sound(b, header); err != nil {
		return nil, err
	}
	mat, err := kind.pixels(b, header)
	if err != nil {
		return nil, err
	}
	facts := ReadFacts(b)
	mat, err = upright(mat, facts.Orientation)
	if err != nil {
		return nil, unreadable(copyAgain, "the picture could not be turned upright: %v", err)
	}
	sum := sha256.Sum256(b)
	return &Picture{Mat: mat, Facts: facts, Header: header, SHA256: hex.EncodeToString(sum[:])}, nil
}

// openCVPixels decodes b as it is stored. IMDecodeIntoMat is used because its
// error belongs to this call; that of IMDecode is shared between goroutines.
func openCVPixels(b []byte, h Header) (gocv.Mat, error) {
	mat := gocv.NewMat()
	err := gocv.IMDecodeIntoMat(b, gocv.IMReadColor|gocv.IMReadIgnoreOrientation, &mat)
	switch {
	case err != nil:
		err = unreadable(copyAgain, "the %s data cannot be decoded", h.Format)
	case mat.Empty():
		err = unreadable(copyAgain, "the %s data cannot be decoded", h.Format)
	case mat.Cols() != h.Width || mat.Rows() != h.Height:
		err = unreadable(copyAgain, "the header says %d x %d pixels, the data %d x %d", h.Width, h.Height, mat.Cols(), mat.Rows())
	default:
		return mat, nil
	}
	_ = mat.Close() // an empty or unwanted picture: its own error adds nothing
	return gocv.Mat{}, err
}

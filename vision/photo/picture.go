// Package photo turns the bytes of a photo into an upright picture and the
// facts of its EXIF.
//
// The bytes come from strangers' phones, so nothing is taken on trust: the
// container is walked before a decoder sees it (header.go, jpeg.go, png.go),
// and the EXIF library sees only a small body rebuilt from entries that were
// checked one by one (guard.go). A photo that is not sound is an *Unreadable,
// never half a picture; EXIF that is not sound costs only its facts.
//
// Planes. A picture is kept as its luma at full size and its colours at half
// size and smaller, which is how phones store it and all that measuring takes: a
// JPEG is decoded to just that by libjpeg (package jpeg), turned on the way, in
// less time than OpenCV takes for the bare pixels; what else there is goes
// through OpenCV or, for HEIC, libheif (package heif), and is taken apart here.
// One reader of EXIF decides how a picture is turned, so facts and pixels agree.
// Best of 6 runs on photos of 12.2 MP and 2.2 to 3.3 MB, one thread of a
// two-core server (go test -run none -bench Decode): 33 to 38 ms as stored, 39 to
// 45 ms turned by a quarter; OpenCV's pixels alone 58 to 67 ms, turned 83 to 92
// ms; disintegration/imaging 271 ms, and 520 ms by the time its picture is a Mat.
// Which decoder gave the pixels of a HEIC is told in Facts.Decoder.
package photo

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
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

// Picture is a decoded photo. It owns memory outside Go's heap: Close it. One
// goroutine may use it at a time.
type Picture struct {
	Gray   gocv.Mat // upright, 8 bits: .299 R + .587 G + .114 B, which is the luma of JFIF
	Facts  Facts
	Header Header
	SHA256 string // of the file's bytes, 64 lower-case hexadecimal digits

	halves []gocv.Mat // upright in colour: half the size, a quarter ...
}

// Width is the width of the upright picture in pixels.
func (p *Picture) Width() int { return p.Gray.Cols() }

// Height is the height of the upright picture in pixels.
func (p *Picture) Height() int { return p.Gray.Rows() }

// Close frees the pixels.
func (p *Picture) Close() error {
	err := p.Gray.Close()
	for i := range p.halves {
		err = errors.Join(err, p.halves[i].Close())
	}
	return err
}

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
	facts := ReadFacts(b)
	p, err := kind.picture(b, header, facts.Orientation)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b)
	p.Facts, p.Header, p.SHA256 = facts, header, hex.EncodeToString(sum[:])
	return p, nil
}

// stored makes an upright picture of pixels that come as the file has them.
func stored(pixels func(b []byte, h Header) (gocv.Mat, error)) func(b []byte, h Header, orientation int) (*Picture, error) {
	return func(b []byte, h Header, orientation int) (*Picture, error) {
		mat, err := pixels(b, h)
		if err != nil {
			return nil, err
		}
		if mat, err = upright(mat, orientation); err != nil {
			return nil, unreadable(copyAgain, "the picture could not be turned upright: %v", err)
		}
		defer mat.Close() //nolint:errcheck // its own error adds nothing
		p, err := Of(mat)
		if err != nil {
			return nil, unreadable(copyAgain, "the picture could not be taken apart: %v", err)
		}
		return p, nil
	}
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

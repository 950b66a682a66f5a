// Package jpeg decodes JPEGs (ITU-T T.81) through libjpeg to the planes that
// they are made of: luma at full size, colour at half size, as phones store it.
// Working out the colours of every pixel, and turning them, takes as long as all
// the rest of decoding. What a file holds is read elsewhere; here are pixels only.
package jpeg

/*
#cgo CFLAGS: -O3
#cgo LDFLAGS: -ljpeg
#include "shim.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"runtime"
)

// ErrKind is the error of a JPEG without such planes: of inks, of red, green and
// blue, with colours coarser than half, or with an odd side.
var ErrKind = errors.New("no luma with colours of at least half its size")

// OtherSize is the error of data that hold another size than was announced.
type OtherSize struct{ Width, Height int }

func (e *OtherSize) Error() string {
	return fmt.Sprintf("the data hold %d x %d pixels", e.Width, e.Height)
}

const whySize = 256

// Planes decodes file, which is to hold width x height pixels, and turns it
// upright as orientation says (CIPA DC-008, tag 0x0112; 1 to 8). gray takes
// width*height bytes of luma, row by row of the upright picture; bgr takes the
// mean of each block of 2 x 2 pixels as three bytes, blue first. Damage inside
// the coded data that leaves their structure whole is not seen.
func Planes(file []byte, width, height, orientation int, gray, bgr []byte) error {
	if width%2 != 0 || height%2 != 0 {
		return ErrKind
	}
	if len(file) == 0 || width <= 0 || height <= 0 || len(gray) != width*height || len(bgr) != 3*(width/2)*(height/2) {
		return fmt.Errorf("jpeg: %d and %d bytes of room for %d x %d pixels of a file of %d bytes", len(gray), len(bgr), width, height, len(file))
	}
	var why [whySize]C.char
	w, h := C.int(width), C.int(height)
	rc := C.jpeg_planes((*C.uchar)(&file[0]), C.size_t(len(file)), &w, &h, (*C.uchar)(&gray[0]), wayOf(orientation, width, height),
		(*C.uchar)(&bgr[0]), wayOf(orientation, width/2, height/2), &why[0], whySize)
	runtime.KeepAlive(file)
	switch rc {
	case C.jpeg_done:
		return nil
	case C.jpeg_other_kind:
		return ErrKind
	case C.jpeg_other_size:
		return &OtherSize{int(w), int(h)}
	}
	return errors.New(C.GoString(&why[0]))
}

// wayOf tells where the pixels of a stored picture go in the upright one: the
// first, and the steps from one to the next in its row and its column.
func wayOf(orientation, w, h int) C.jpeg_way {
	way := func(at, right, down int) C.jpeg_way { return C.jpeg_way{C.long(at), C.long(right), C.long(down)} }
	switch orientation {
	case 2: // top, right
		return way(w-1, -1, w)
	case 3: // bottom, right
		return way(w*h-1, -1, -w)
	case 4: // bottom, left
		return way((h-1)*w, 1, -w)
	case 5: // left, top
		return way(0, h, 1)
	case 6: // right, top
		return way(h-1, h, -1)
	case 7: // right, bottom
		return way(w*h-1, -h, -1)
	case 8: // left, bottom
		return way((w-1)*h, -h, 1)
	}
	return way(0, 1, w)
}

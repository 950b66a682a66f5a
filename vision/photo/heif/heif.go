// Package heif hands image items of HEIF files (ISO/IEC 23008-12) to libheif,
// which is looked for when the first one comes: a program that never sees one
// does not need it. What a file holds is read elsewhere; here are pixels only.
package heif

/*
#cgo CXXFLAGS: -std=c++17 -O2
#cgo LDFLAGS: -ldl
#include "shim.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"runtime"
	"strings"
	"unsafe"
)

// What Debian and Ubuntu call the library, and, where its codecs are packages of
// their own (from 1.16 on), the one that is needed.
const (
	packageLibrary = "libheif1"
	packageCodec   = "libheif-plugin-libde265"
)

// Missing is the error of a machine without libheif, or without its codec.
type Missing struct{ Why, Package string }

func (e *Missing) Error() string { return "no decoder for HEIC: " + e.Why }

// OtherSize is the error of data that hold another size than was announced.
type OtherSize struct{ Width, Height int }

func (e *OtherSize) Error() string {
	return fmt.Sprintf("the data hold %d x %d pixels", e.Width, e.Height)
}

const whySize = 256

// Decoder names the library with its version, or says that it is missing.
func Decoder() (string, error) {
	var why [whySize]C.char
	var version *C.char
	if C.heif_load(&version, &why[0], whySize) != C.heif_ok {
		return "", &Missing{C.GoString(&why[0]), packageLibrary}
	}
	return "libheif " + C.GoString(version), nil
}

// Decode writes the pixels of one image item of file into bgr: width times
// height of 3 bytes, blue first, row by row without a gap. They come as coded:
// rotation, mirroring and cropping of the container are left to the caller. It
// may be called from several goroutines; each call works in its own thread.
func Decode(file []byte, item uint32, bgr []byte, width, height int) error {
	if len(file) == 0 || width <= 0 || height <= 0 || len(bgr) != 3*width*height {
		return fmt.Errorf("heif: %d bytes of room for %d x %d pixels of a file of %d bytes", len(bgr), width, height, len(file))
	}
	var why [whySize]C.char
	w, h := C.int(width), C.int(height)
	rc := C.heif_pixels(unsafe.Pointer(&file[0]), C.size_t(len(file)), C.uint(item),
		(*C.uchar)(&bgr[0]), C.size_t(3*width), &w, &h, &why[0], whySize)
	runtime.KeepAlive(file)
	text := strings.Join(strings.Fields(C.GoString(&why[0])), " ")
	switch rc {
	case C.heif_ok:
		return nil
	case C.heif_missing:
		return &Missing{text, packageLibrary}
	case C.heif_no_codec:
		return &Missing{"libheif is here without HEVC", packageCodec}
	case C.heif_other_size:
		return &OtherSize{int(w), int(h)}
	}
	return errors.New(text)
}

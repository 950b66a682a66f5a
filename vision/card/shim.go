package card

/*
#cgo CXXFLAGS: -std=c++17 -O2
#cgo CPPFLAGS: -I/usr/include/opencv4
#cgo LDFLAGS: -lopencv_aruco -lopencv_calib3d -lopencv_imgproc -lopencv_core
#include "shim.h"
*/
import "C"

import (
	"fmt"
	"runtime"
	"unsafe"

	"gocv.io/x/gocv"
)

const (
	maxMarkers = 1024 // markers taken from one picture; a card has 35
	whySize    = 256
)

// Threads sets how many threads OpenCV uses inside one call, for the whole
// process. Use 1 when photos are measured side by side: it is faster in sum,
// and OpenCV's thread pool then has nothing to warn about on stderr.
func Threads(n int) { C.card_threads(C.int(n)) }

// Pattern gives the modules of one marker without its black border, row by row
// from the upper left as printed: true is white. dictionary is one of OpenCV's
// predefined dictionaries.
func Pattern(dictionary, id int) ([][]bool, error) {
	if err := checkDictionary(dictionary); err != nil {
		return nil, err
	}
	var bits [64]C.uchar
	var why [whySize]C.char
	side := int(C.card_bits(C.int(dictionary), C.int(id), &bits[0], C.int(len(bits)), &why[0], whySize))
	if side < 0 {
		return nil, fmt.Errorf("marker pattern: %s", C.GoString(&why[0]))
	}
	rows := make([][]bool, side)
	for y := range rows {
		rows[y] = make([]bool, side)
		for x := range rows[y] {
			rows[y][x] = bits[y*side+x] != 0
		}
	}
	return rows, nil
}

// detect finds markers in a grey picture, by adaptive thresholds over the given
// windows (px, least and most, 10 px apart). minPerimeter is a share of the
// longer side of the picture.
func detect(gray gocv.Mat, dictionary int, windows [2]int, minPerimeter float64) ([]Marker, error) {
	ids := make([]C.int, maxMarkers)
	corners := make([]C.float, 8*maxMarkers)
	var why [whySize]C.char
	n := int(C.card_detect(unsafe.Pointer(gray.Ptr()), C.int(dictionary), C.int(windows[0]), C.int(windows[1]), C.double(minPerimeter),
		maxMarkers, &ids[0], &corners[0], &why[0], whySize))
	runtime.KeepAlive(gray)
	if n < 0 {
		return nil, fmt.Errorf("marker detection: %s", C.GoString(&why[0]))
	}
	markers := make([]Marker, n)
	for i := range markers {
		markers[i].ID = int(ids[i])
		for k := range markers[i].Corners {
			markers[i].Corners[k] = [2]float64{float64(corners[8*i+2*k]), float64(corners[8*i+2*k+1])}
		}
	}
	return markers, nil
}

// homography fits the 3x3 matrix that takes from to to. A threshold over zero
// (px) asks for RANSAC, and keep tells which points agree; zero is least squares
// over all points. ok is false when the points allow none.
func homography(from, to [][2]float64, threshold float64) (h [9]float64, keep []bool, ok bool) {
	if len(from) < 4 {
		return h, nil, false
	}
	mask := make([]C.uchar, len(from))
	var why [whySize]C.char
	rc := C.card_homography((*C.double)(&from[0][0]), (*C.double)(&to[0][0]), C.int(len(from)), C.double(threshold),
		(*C.double)(&h[0]), &mask[0], &why[0], whySize)
	if rc != 0 {
		return h, nil, false
	}
	keep = make([]bool, len(from))
	for i := range keep {
		keep[i] = mask[i] != 0
	}
	return h, keep, true
}

// Package net runs a small neural network, given as an ONNX file in memory, on
// one core. OpenCV's dnn module reads the file; oneDNN runs the layers, in 28 to
// 36 ms where OpenCV 4.6 takes 67 (a view of 1920 x 640 px through the course
// network, AVX2). It knows the layers that the project's networks are made of:
// convolutions and what undoes them, sums, inner products, ReLU and sigmoid.
package net

/*
#cgo CXXFLAGS: -std=c++17 -O3 -fopenmp
#cgo CPPFLAGS: -I/usr/include/opencv4
#cgo LDFLAGS: -lopencv_dnn -lopencv_core -ldnnl -lgomp
#include "shim.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"strings"
	"unsafe"
)

const whySize = 512

// Net is a network that is ready to run. One goroutine may use it at a time;
// load one for each worker. It takes inputs of any size that its layers allow,
// and a change of size between calls costs no new load. OpenCV's number of
// threads is the process's own (see card.Threads).
type Net struct{ p unsafe.Pointer }

// Tensor is one output: Data holds C planes of H rows of W numbers.
type Tensor struct {
	C, H, W int
	Data    []float32
}

// At is the number in plane c, row y and column x.
func (t Tensor) At(c, y, x int) float32 { return t.Data[(c*t.H+y)*t.W+x] }

// Load reads a network from the bytes of an ONNX file. Close gives its memory back.
func Load(onnx []byte) (*Net, error) {
	if len(onnx) == 0 {
		return nil, errors.New("network: the ONNX file is empty")
	}
	var why [whySize]C.char
	p := C.net_load(unsafe.Pointer(&onnx[0]), C.int(len(onnx)), &why[0], whySize)
	if p == nil {
		return nil, fmt.Errorf("network: ONNX file of %d bytes: %s", len(onnx), line(&why[0]))
	}
	return &Net{p: p}, nil
}

// Forward runs the network on one image of c planes of h rows of w numbers and
// returns its outputs in the order in which the file names them. They are valid
// until the next call.
func (n *Net) Forward(in []float32, c, h, w int) ([]Tensor, error) {
	if c < 1 || h < 1 || w < 1 || len(in) != c*h*w {
		return nil, fmt.Errorf("network: %d numbers for an input of %d x %d x %d: they must agree and none be under 1", len(in), c, h, w)
	}
	return n.outputs(func(out *C.net_tensor, why *C.char) C.int {
		return C.net_forward(n.p, (*C.float)(&in[0]), C.int(c), C.int(h), C.int(w), out, why, whySize)
	})
}

// ForwardBGR is Forward on h rows of w pixels of three bytes, stride bytes from
// one row to the next, which make three planes; each of further fills a plane.
func (n *Net) ForwardBGR(bgr []byte, h, w, stride int, t Tones, further ...float64) ([]Tensor, error) {
	if h < 1 || w < 1 || stride < 3*w || len(bgr) < (h-1)*stride+3*w {
		return nil, fmt.Errorf("network: %d bytes for %d x %d pixels in rows of %d bytes: there must be enough, and no side under 1", len(bgr), w, h, stride)
	}
	blank, planes := C.int(0), append(make([]float64, 0, 8), further...)
	if t.Blank {
		blank = 1
	}
	return n.outputs(func(out *C.net_tensor, why *C.char) C.int {
		return C.net_forward_bgr(n.p, (*C.uchar)(&bgr[0]), C.int(h), C.int(w), C.int(stride), C.float(t.Mean), C.float(1/t.Spread), blank,
			(*C.double)(unsafe.SliceData(planes)), C.int(len(planes)), out, why, whySize)
	})
}

func (n *Net) outputs(run func(out *C.net_tensor, why *C.char) C.int) ([]Tensor, error) {
	if n == nil || n.p == nil {
		return nil, errors.New("network: it is closed")
	}
	var out [C.NET_MAX_OUTPUTS]C.net_tensor
	var why [whySize]C.char
	count := int(run(&out[0], &why[0]))
	if count < 0 {
		return nil, fmt.Errorf("network: %s", line(&why[0]))
	}
	tensors := make([]Tensor, count)
	for i, t := range out[:count] {
		tensors[i] = Tensor{C: int(t.channels), H: int(t.height), W: int(t.width)}
		tensors[i].Data = unsafe.Slice((*float32)(unsafe.Pointer(t.data)), tensors[i].C*tensors[i].H*tensors[i].W)
	}
	return tensors, nil
}

// line is OpenCV's text on one line.
func line(why *C.char) string { return strings.Join(strings.Fields(C.GoString(why)), " ") }

// Close gives the memory back; a closed Net refuses to run. Closing twice is harmless.
func (n *Net) Close() {
	if n != nil && n.p != nil {
		C.net_close(n.p)
		n.p = nil
	}
}

// Package codecs keeps OpenCV's library of picture formats, and with it GDAL and
// more than a hundred other libraries, out of the program's start: they are
// loaded when the first picture is read or written. A command that touches no
// picture, and the process of a batch that leaves pictures to its workers, never
// load them. Import it for its effect; gocv is used as ever.
//
// It defines the functions of that library which gocv calls, each of which hands
// its call on (codecs.cpp). The linker then leaves the library out.
package codecs

// #cgo CXXFLAGS: -std=c++17 -O2
// #cgo CPPFLAGS: -I/usr/include/opencv4
// #cgo LDFLAGS: -Wl,--as-needed -ldl -lopencv_core
import "C"

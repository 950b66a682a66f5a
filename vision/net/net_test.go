package net

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"
)

// The ONNX files of these tests are written here, field by field, after the
// public message definitions of onnx.proto (ONNX IR version 8, opset 13).

func varint(v uint64) []byte { return binary.AppendUvarint(nil, v) }

func number(field int, v uint64) []byte { return append(varint(uint64(field)<<3), varint(v)...) }

func message(field int, parts ...[]byte) []byte {
	var body []byte
	for _, p := range parts {
		body = append(body, p...)
	}
	return append(append(varint(uint64(field)<<3|2), varint(uint64(len(body)))...), body...)
}

func text(field int, s string) []byte { return message(field, []byte(s)) }

// tensor is a TensorProto initializer of floats.
func tensor(name string, values []float32, dims ...uint64) []byte {
	var parts [][]byte
	for _, d := range dims {
		parts = append(parts, number(1, d))
	}
	var raw []byte
	for _, v := range values {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	parts = append(parts, number(2, 1), text(8, name), message(9, raw))
	return message(5, parts...)
}

// ints is an AttributeProto of a node with a list of integers.
func ints(name string, values ...uint64) []byte {
	parts := [][]byte{text(1, name)}
	for _, v := range values {
		parts = append(parts, number(8, v))
	}
	return message(5, append(parts, number(20, 7))...)
}

func node(op, out string, in []string, attributes ...[]byte) []byte {
	var parts [][]byte
	for _, s := range in {
		parts = append(parts, text(1, s))
	}
	parts = append(parts, text(2, out), text(3, out), text(4, op))
	return message(1, append(parts, attributes...)...)
}

// value is a ValueInfoProto: 1 x channels x h x w floats, h and w left open.
func value(field int, name string, channels uint64) []byte {
	shape := message(2, message(1, number(1, 1)), message(1, number(1, channels)), message(1, text(2, "h")), message(1, text(2, "w")))
	return message(field, text(1, name), message(2, message(1, number(1, 1), shape)))
}

func model(graph ...[]byte) []byte {
	return append(append(number(1, 8), message(7, append(graph, text(2, "test"))...)...), message(8, text(1, ""), number(2, 13))...)
}

// laplace is relu(conv(x, cross) + .5) and, as a second output, the sigmoid of
// the same convolution.
func laplace() []byte {
	kernel := []float32{0, 1, 0, 1, -4, 1, 0, 1, 0}
	return model(
		node("Conv", "c", []string{"x", "k", "b"}, ints("kernel_shape", 3, 3), ints("pads", 1, 1, 1, 1)),
		node("Relu", "r", []string{"c"}),
		node("Sigmoid", "s", []string{"c"}),
		tensor("k", kernel, 1, 1, 3, 3), tensor("b", []float32{.5}, 1),
		value(11, "x", 1), value(12, "r", 1), value(12, "s", 1),
	)
}

// convolved is the same in plain Go, zeros round the picture.
func convolved(in []float32, h, w, y, x int) float64 {
	at := func(y, x int) float64 {
		if y < 0 || x < 0 || y >= h || x >= w {
			return 0
		}
		return float64(in[y*w+x])
	}
	return at(y-1, x) + at(y+1, x) + at(y, x-1) + at(y, x+1) - 4*at(y, x) + .5
}

func TestForwardAgreesWithPlainGo(t *testing.T) {
	n, err := Load(laplace())
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	for _, size := range [][2]int{{5, 7}, {64, 48}, {5, 7}, {1, 1}} { // sizes change, and come back, without a new load
		h, w := size[0], size[1]
		in := make([]float32, h*w)
		for i := range in {
			in[i] = float32(math.Sin(float64(i * i)))
		}
		out, err := n.Forward(in, 1, h, w)
		if err != nil {
			t.Fatalf("%d x %d: %v", h, w, err)
		}
		if len(out) != 2 {
			t.Fatalf("%d x %d: %d outputs, want 2", h, w, len(out))
		}
		for i, f := range []func(float64) float64{
			func(v float64) float64 { return max(0, v) },
			func(v float64) float64 { return 1 / (1 + math.Exp(-v)) },
		} {
			if out[i].C != 1 || out[i].H != h || out[i].W != w {
				t.Fatalf("output %d is %d x %d x %d, want 1 x %d x %d", i, out[i].C, out[i].H, out[i].W, h, w)
			}
			for p := range in {
				want := f(convolved(in, h, w, p/w, p%w))
				if got := float64(out[i].At(0, p/w, p%w)); math.Abs(got-want) > 1e-5 {
					t.Fatalf("output %d at row %d column %d: %g, want %g", i, p/w, p%w, got, want)
				}
			}
		}
	}
}

// A picture goes in as its tones, plane by plane; blank pixels as 0 where they are
// to count so; further planes hold one number.
func TestForwardBGR(t *testing.T) {
	n, err := Load(model(node("Relu", "r", []string{"x"}), value(11, "x", 5), value(12, "r", 5)))
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	const h, w, stride = 2, 3, 12 // a pixel beside each row belongs to another part of the picture
	bgr := make([]byte, h*stride)
	for i := range bgr {
		bgr[i] = byte(10 + i)
	}
	copy(bgr[3:], []byte{0, 0, 0, 0, 7, 0})
	for _, blank := range []bool{true, false} {
		tones := Tones{Mean: -1.5, Spread: 2, Blank: blank}
		out, err := n.ForwardBGR(bgr, h, w, stride, tones, 3, .25)
		if err != nil {
			t.Fatal(err)
		}
		for c := range 5 {
			for i := range h * w {
				y, x := i/w, i%w
				var want float32
				switch {
				case c >= 3:
					want = []float32{3, .25}[c-3]
				case !blank || y > 0 || x != 1:
					want = (float32(bgr[y*stride+3*x+c]) + 1.5) / 2
				}
				if got := out[0].At(c, y, x); got != want {
					t.Errorf("plane %d, row %d, column %d: %g, want %g", c, y, x, got, want)
				}
			}
		}
		if _, err := n.ForwardBGR(bgr[:len(bgr)-4], h, w, stride, tones, 3, .25); err == nil {
			t.Error("too few bytes were taken")
		}
	}
}

func TestTonesOf(t *testing.T) {
	b := make([]byte, 6000)
	for i := range b {
		b[i] = byte(40 + i*7%170)
	}
	tones := TonesOf(b)
	var sum, sq float64
	for _, c := range b {
		v := (float64(c) - tones.Mean) / tones.Spread
		sum, sq = sum+v, sq+v*v
	}
	n := float64(len(b))
	if m, s := sum/n, math.Sqrt(sq/n); math.Abs(m) > 1e-9 || s > 1 || s < .9 {
		t.Errorf("mean %.4f, spread %.3f", m, s)
	}
	if tones := TonesOf(make([]byte, 12)); tones != (Tones{Spread: flat}) {
		t.Errorf("of a black patch: %+v", tones)
	}
}

func TestErrorsStayErrors(t *testing.T) {
	whole := laplace()
	for name, file := range map[string][]byte{
		"nothing":     nil,
		"text":        []byte("this is no network"),
		"cut":         whole[:len(whole)/2],
		"unknown op":  model(node("NoSuchOperation", "r", []string{"x"}), value(11, "x", 1), value(12, "r", 1)),
		"no operator": model(value(11, "x", 1)),
	} {
		n, err := Load(file)
		if err == nil {
			n.Close()
			t.Errorf("%s: no error", name)
		} else if s := err.Error(); !strings.HasPrefix(s, "network: ") || strings.Contains(s, "\n") {
			t.Errorf("%s: %q is not one line that says where", name, s)
		}
	}

	n, err := Load(whole)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := n.Forward(make([]float32, 5), 1, 2, 3); err == nil {
		t.Error("5 numbers for 1 x 2 x 3: no error")
	}
	if _, err := n.Forward(nil, 0, 0, 0); err == nil {
		t.Error("an empty input: no error")
	}
	if _, err := n.Forward(make([]float32, 12), 3, 2, 2); err == nil {
		t.Error("3 planes for a network of 1: no error")
	}
	if out, err := n.Forward(make([]float32, 4), 1, 2, 2); err != nil || len(out) != 2 {
		t.Errorf("after errors: %d outputs, %v", len(out), err)
	}
	n.Close()
	n.Close()
	if _, err := n.Forward(make([]float32, 4), 1, 2, 2); err == nil {
		t.Error("a closed network runs")
	}
}

func BenchmarkForward(b *testing.B) {
	n, err := Load(laplace())
	if err != nil {
		b.Fatal(err)
	}
	defer n.Close()
	in := make([]float32, 512*512)
	for b.Loop() {
		if _, err := n.Forward(in, 1, 512, 512); err != nil {
			b.Fatal(err)
		}
	}
}

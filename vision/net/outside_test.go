package net

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"testing"
)

// opencvForward runs a network by OpenCV's own dnn module, in another program.
const opencvForward = `
import sys, cv2, numpy as np
net = cv2.dnn.readNetFromONNX(sys.argv[1])
shape = [1] + [int(v) for v in sys.argv[2:]]
net.setInput(np.frombuffer(sys.stdin.buffer.read(), "<f4").reshape(shape))
sys.stdout.buffer.write(np.ascontiguousarray(net.forward(), "<f4").tobytes())
`

// What the project's networks answer here is what OpenCV's dnn module makes of the
// same files, at sizes that fill blocks and at those that do not.
func TestForwardAgreesWithOpenCV(t *testing.T) {
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import cv2; cv2.dnn").Run(); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("no OpenCV for Python here: apt-get install python3-opencv")
		}
		t.Skip("no OpenCV for Python here to compare with: apt-get install python3-opencv")
	}
	for _, c := range []struct {
		file    string
		c, h, w int
	}{
		{"../course/course.onnx", 3, 96, 160},
		{"../course/course.onnx", 3, 608, 352},
		{"../course/joint.onnx", 8, 256, 128},
		{"../head/head.onnx", 6, 96, 96},
	} {
		onnx, err := os.ReadFile(c.file)
		if err != nil {
			t.Fatal(err)
		}
		n, err := Load(onnx)
		if err != nil {
			t.Fatal(err)
		}
		defer n.Close()
		in := make([]float32, c.c*c.h*c.w)
		for i := range in {
			in[i] = float32(1.5 * math.Sin(float64(i*i%10007)))
		}
		out, err := n.Forward(in, c.c, c.h, c.w)
		if err != nil || len(out) != 1 {
			t.Fatalf("%s: %d outputs, %v", c.file, len(out), err)
		}
		want := byOpenCV(t, python, c.file, in, c.c, c.h, c.w)
		if len(want) != len(out[0].Data) {
			t.Fatalf("%s: %d numbers, OpenCV gives %d", c.file, len(out[0].Data), len(want))
		}
		worst, most := 0.0, 0.0
		for i, v := range want {
			worst, most = max(worst, math.Abs(float64(v-out[0].Data[i]))), max(most, math.Abs(float64(v)))
		}
		t.Logf("%s, %d x %d: numbers of up to %.1f differ by %.1g at most", c.file, c.h, c.w, most, worst)
		if worst > 1e-4*most {
			t.Errorf("%s, %d x %d: numbers of up to %.1f differ by %.3g", c.file, c.h, c.w, most, worst)
		}
	}
}

func byOpenCV(t *testing.T, python, file string, in []float32, c, h, w int) []float32 {
	t.Helper()
	var data bytes.Buffer
	if err := binary.Write(&data, binary.LittleEndian, in); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(python, "-c", opencvForward, file, fmt.Sprint(c), fmt.Sprint(h), fmt.Sprint(w))
	run.Stdin, run.Stderr = &data, os.Stderr
	answer, err := run.Output()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float32, len(answer)/4)
	if err := binary.Read(bytes.NewReader(answer), binary.LittleEndian, out); err != nil {
		t.Fatal(err)
	}
	return out
}

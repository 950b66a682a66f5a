// Package sign has the shapes that stand for verdicts, one for each, the same
// on every page: whoever has learned them on the report reads the sheets too.
// They are told apart without colour.
package sign

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Verdicts, as inspections word them. Missed is a head that a person saw and
// the measurement did not.
const (
	Suspect    = "suspect"
	Unresolved = "unresolved"
	Clear      = "clear"
	NotJudged  = "not_judged"
	Missed     = "missed"
)

// sign is a shape: corners about the origin, y down, for a size of 1; none for a
// circle. An open one is drawn as lines between pairs of corners.
type sign struct {
	name    string
	corners []float64
	open    bool
}

var signs = map[string]sign{
	Suspect:    {name: "diamond", corners: []float64{0, -1.5, 1.5, 0, 0, 1.5, -1.5, 0}},
	Unresolved: {name: "square", corners: []float64{-1.1, -1.1, 1.1, -1.1, 1.1, 1.1, -1.1, 1.1}},
	Clear:      {name: "circle"},
	NotJudged:  {name: "triangle", corners: []float64{0, -1.4, 1.3, .9, -1.3, .9}},
	Missed:     {name: "cross", corners: []float64{-1.4, 0, 1.4, 0, 0, -1.4, 0, 1.4}, open: true},
}

func of(verdict string) sign {
	if s, known := signs[verdict]; known {
		return s
	}
	return signs[NotJudged]
}

// Name is the word for a verdict's shape. What is no verdict was not judged.
func Name(verdict string) string { return of(verdict).name }

// Path draws a verdict's shape of a size about the origin, as an SVG path.
func Path(verdict string, size float64) string {
	s := of(verdict)
	if s.corners == nil {
		r := num(size)
		return fmt.Sprintf("M-%s 0A%s %s 0 1 1 %s 0A%s %s 0 1 1 -%s 0Z", r, r, r, r, r, r, r)
	}
	var b strings.Builder
	for i := 0; i < len(s.corners); i += 2 {
		b.WriteString(s.step(i, "M", "L") + num(s.corners[i]*size) + " " + num(s.corners[i+1]*size))
	}
	return b.String() + s.end()
}

// From draws it about the point where the path is, for paths of many marks. A
// circle becomes a dot, as wide as the line.
func From(verdict string, size float64) string {
	s := of(verdict)
	if s.corners == nil {
		return "h0"
	}
	var b strings.Builder
	x, y := 0.0, 0.0
	for i := 0; i < len(s.corners); i += 2 {
		b.WriteString(s.step(i, "m", "l") + num(s.corners[i]*size-x) + " " + num(s.corners[i+1]*size-y))
		x, y = s.corners[i]*size, s.corners[i+1]*size
	}
	return b.String() + strings.ToLower(s.end())
}

func (s sign) step(i int, move, line string) string {
	if i == 0 || s.open && i%4 == 0 {
		return move
	}
	return line
}

func (s sign) end() string {
	if s.open {
		return ""
	}
	return "Z"
}

// num prints a coordinate with at most two decimals.
func num(v float64) string { return strconv.FormatFloat(math.Round(v*100)/100+0, 'f', -1, 64) }

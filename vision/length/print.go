package length

import (
	"fmt"
	"math"
)

// Inches prints a length in inches to hundredths: "7.21 in".
func Inches(m MM) string { return fixed(float64(m/Inch), 2) + " in" }

// Millimetres prints a length in millimetres to tenths: "183.1 mm".
func Millimetres(m MM) string { return fixed(float64(m), 1) + " mm" }

// Sixteenths prints a length as a tape shows it, to the nearest 1/16 in:
// "7-3/16 in", "3/8 in", "7 in".
func Sixteenths(m MM) string {
	n := int64(math.Round(math.Abs(float64(m/Inch)) * 16))
	sign := ""
	if m < 0 && n != 0 {
		sign = "-"
	}
	whole, part := n/16, n%16
	if part == 0 {
		return fmt.Sprintf("%s%d in", sign, whole)
	}
	under := int64(16)
	for part%2 == 0 {
		part, under = part/2, under/2
	}
	if whole == 0 {
		return fmt.Sprintf("%s%d/%d in", sign, part, under)
	}
	return fmt.Sprintf("%s%d-%d/%d in", sign, whole, part, under)
}

// String prints the value and the half width of its 95 % interval in inches:
// "7.21 in ± 0.04 in". An uncertainty that would round to nothing is told as
// the last printed digit, since no measured length is exact.
func (m Measured) String() string {
	return Inches(m.value) + " ± " + fixed(told(float64(m.U95()/Inch), 0.01), 2) + " in"
}

// StringMM is String in millimetres: "183.1 mm ± 1.0 mm".
func (m Measured) StringMM() string {
	return Millimetres(m.value) + " ± " + fixed(told(float64(m.U95()), 0.1), 1) + " mm"
}

func told(u95, digit float64) float64 {
	if u95 > 0 && u95 < digit {
		return digit
	}
	return u95
}

// fixed is "%.nf" with halves rounded up in size, as people do (5.625 gives
// 5.63), and without a minus sign before a zero.
func fixed(v float64, digits int) string {
	if up := math.Nextafter(v, math.Copysign(math.Inf(1), v)); !math.IsInf(up, 0) {
		v = up
	}
	s := fmt.Sprintf("%.*f", digits, v)
	if v < 0 && s == fmt.Sprintf("-%.*f", digits, 0.0) {
		return s[1:]
	}
	return s
}

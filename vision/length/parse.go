package length

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Longest is the greatest length that Parse takes: no roof needs more, and a
// slip of the keyboard that gives more is caught.
const Longest MM = 100_000

// units holds the size of each unit that Parse knows, in the order in which
// messages list them.
var units = []struct {
	name string
	size MM
}{
	{"in", Inch},
	{`"`, Inch},
	{"mm", 1},
	{"cm", 10},
	{"ft", 12 * Inch},
}

// Parse reads a length with its unit: a decimal ("5.625 in", "143 mm"), a
// fraction ("3/8 in") or a mixed number ("5-5/8 in", "5 5/8 in"), in one of
// the units in, ", mm, cm, ft. It refuses signs, exponents, a missing unit and
// lengths over Longest; the error is one line that says what would be taken.
func Parse(s string) (MM, error) {
	text := strings.TrimSpace(s)
	digits := strings.TrimRight(text, `abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"'`)
	size, err := unit(s, text[len(digits):])
	if err != nil {
		return 0, err
	}
	number, err := mixed(strings.TrimSpace(digits))
	if err != nil {
		return 0, fmt.Errorf("length %s: %w", strconv.Quote(s), err)
	}
	length := MM(number) * size
	if length > Longest || math.IsNaN(number) {
		return 0, fmt.Errorf("length %s: over %.0f m; check the number and the unit", strconv.Quote(s), float64(Longest)/1000)
	}
	return length, nil
}

// unit finds the size of the named unit; s is the whole text, for the message.
func unit(s, name string) (MM, error) {
	for _, u := range units {
		if u.name == name {
			return u.size, nil
		}
	}
	if name == "" {
		return 0, fmt.Errorf(`length %s: no unit; write in, ", mm, cm or ft after the number, as in "5-5/8 in"`, strconv.Quote(s))
	}
	return 0, fmt.Errorf(`length %s: unknown unit %s; legal units are in, ", mm, cm, ft`, strconv.Quote(s), strconv.Quote(name))
}

// mixed reads a decimal, a fraction, or a whole number and a fraction joined
// by a hyphen or by spaces.
func mixed(s string) (float64, error) {
	switch {
	case s == "":
		return 0, fmt.Errorf(`no number before the unit; write it as in "5-5/8 in"`)
	case s[0] == '-' || s[0] == '+':
		return 0, fmt.Errorf("a length has no sign; write it without %q", s[0])
	case !strings.Contains(s, "/"):
		return decimal(s)
	}
	whole, part := 0.0, s
	if cut := strings.LastIndexAny(s, "- \t"); cut >= 0 {
		w, err := digitsOnly(strings.TrimRight(s[:cut], " \t"))
		if err != nil {
			return 0, err
		}
		whole, part = w, s[cut+1:]
	}
	f, err := fraction(part)
	if err != nil {
		return 0, err
	}
	if part != s && f >= 1 {
		return 0, fmt.Errorf("%s after a whole number is not under 1; write the sum as one number", part)
	}
	return whole + f, nil
}

// fraction reads "5/8".
func fraction(s string) (float64, error) {
	over, under, _ := strings.Cut(s, "/")
	n, err := digitsOnly(over)
	if err != nil {
		return 0, err
	}
	d, err := digitsOnly(under)
	if err != nil {
		return 0, err
	}
	if d == 0 {
		return 0, fmt.Errorf("%s divides by zero", s)
	}
	return n / d, nil
}

// decimal reads "5", "5.625", ".5"; no exponent, no sign.
func decimal(s string) (float64, error) {
	whole, part, dotted := strings.Cut(s, ".")
	if whole != "" || !dotted {
		if _, err := digitsOnly(whole); err != nil {
			return 0, err
		}
	}
	if dotted {
		if _, err := digitsOnly(part); err != nil {
			return 0, err
		}
	}
	return strconv.ParseFloat(s, 64)
}

func digitsOnly(s string) (float64, error) {
	for _, c := range s {
		if c < '0' || c > '9' {
			return 0, notANumber(s)
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, notANumber(s)
	}
	return v, nil
}

func notANumber(s string) error {
	return fmt.Errorf(`%s is not a plain number; write 5.625, 3/8 or 5-5/8 before the unit`, strconv.Quote(s))
}

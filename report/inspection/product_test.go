package inspection

import (
	"strings"
	"testing"
)

func TestProduct(t *testing.T) {
	with := func(checks ...Check) Photo {
		p := measuredPhoto("a.jpg")
		p.Checks = checks
		return p
	}
	refused := func(reason string) Photo {
		p := refusedPhoto("b.jpg")
		p.Refusal = &Refusal{Reason: reason}
		return p
	}
	good := with(Check{"edges", true, ""}, Check{"width of piece 1", true, ""}, Check{"right end of piece 1", true, ""})
	edges, width, joint := with(Check{"edges", false, ""}), with(Check{"width of piece 3", false, ""}), with(Check{"card", true, ""}, Check{"joint in piece 2", false, ""})
	card := refused("card_wrong_size")
	for _, c := range []struct {
		name   string
		photos []Photo
		want   Fit
		other  bool
	}{
		{"none", nil, Fit{}, false},
		{"one that fits", []Photo{good}, Fit{0, 0, 1}, false},
		{"edges", []Photo{edges}, Fit{1, 0, 1}, true},
		{"width", []Photo{width}, Fit{1, 0, 1}, true},
		{"a piece wider than the product", []Photo{joint}, Fit{1, 0, 1}, true},
		{"both faults of one photo", []Photo{with(edges.Checks[0], width.Checks[0])}, Fit{1, 0, 1}, true},
		{"both faults of one photo of two", []Photo{with(edges.Checks[0], width.Checks[0]), good}, Fit{1, 0, 2}, false},
		{"card of another size", []Photo{card, joint}, Fit{2, 1, 2}, true},
		{"one of two", []Photo{edges, good}, Fit{1, 0, 2}, false},
		{"two of two", []Photo{edges, width}, Fit{2, 0, 2}, true},
		{"one of three", []Photo{edges, good, good}, Fit{1, 0, 3}, false},
		{"two of three", []Photo{edges, joint, good}, Fit{2, 0, 3}, true},
		{"half of four", []Photo{edges, joint, good, good}, Fit{2, 0, 4}, true},
		{"two of five", []Photo{edges, joint, good, good, good}, Fit{2, 0, 5}, false},
		{"other failures say nothing of the product", []Photo{with(Check{"focal length", false, ""}, Check{"card", false, ""})}, Fit{0, 0, 1}, false},
		{"other refusals cannot tell", []Photo{refused("blurred"), refused("no_card"), edges}, Fit{1, 0, 1}, true},
	} {
		got := Document{Photos: c.photos}.Product()
		if got != c.want || got.Other() != c.other || (got.String() != "") != c.other {
			t.Errorf("%s: %+v, other %v, %q; want %+v, %v", c.name, got, got.Other(), got, c.want, c.other)
		}
	}
	if s := (Fit{2, 1, 2}).String(); !strings.HasPrefix(s, "2 of 2 photos that could tell do not fit") || !strings.Contains(s, "another product, or like a card") {
		t.Errorf("%q", s)
	}
	if s := (Fit{1, 0, 1}).String(); !strings.HasPrefix(s, "1 of 1 photo that") || strings.Contains(s, "card") {
		t.Errorf("%q", s)
	}
}

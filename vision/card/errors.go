package card

import (
	"errors"
	"fmt"
	"sort"
)

// What can keep a card from being used. Find wraps them in an *Unseen.
var (
	ErrNone    = errors.New("no card")
	ErrTwo     = errors.New("several cards")
	ErrSpread  = errors.New("too few corners of the card")
	ErrOutside = errors.New("card number outside the legal range")
)

// Unseen is the error of a picture in which no card can be used. It tells what
// was seen, so that a person learns what to do differently.
type Unseen struct {
	Kind    error       // ErrNone, ErrTwo, ErrSpread or ErrOutside
	Markers int         // markers decoded, of any number
	Numbers map[int]int // markers by card number, legal numbers only
	Outside []int       // ids of markers that belong to no legal number
	Legal   int         // the highest legal number
	Sight   Sight       // ErrSpread: what there is of the card
	Spread  float64     // ErrSpread: share of the board within the hull of the corners
}

// Unwrap gives the kind, for errors.Is.
func (e *Unseen) Unwrap() error { return e.Kind }

func (e *Unseen) Error() string {
	switch e.Kind {
	case ErrTwo:
		return fmt.Sprintf("%v: markers of the numbers %v", e.Kind, counted(e.Numbers, TwoMarkers))
	case ErrSpread:
		return fmt.Sprintf("%v: %d corners over %.0f %% of the board: %d over %.0f %% are needed",
			e.Kind, len(e.Sight.Corners), 100*e.Spread, MinCorners, 100*MinSpread)
	case ErrOutside:
		return fmt.Sprintf("card number outside 0 to %d: %d markers with ids such as %d",
			e.Legal, len(e.Outside), e.Outside[0])
	}
	return fmt.Sprintf("%v: %d markers decoded, %d of one number are needed", e.Kind, e.Markers, MinMarkers)
}

// Cards is how many cards are in sight with enough markers to count.
func (e *Unseen) Cards() int { return len(counted(e.Numbers, TwoMarkers)) }

// tells is true when e saw more of a card than o.
func (e *Unseen) tells(o *Unseen) bool {
	if a, b := len(e.Sight.Corners), len(o.Sight.Corners); a != b {
		return a > b
	}
	return e.Markers > o.Markers
}

// counted lists the numbers that have at least so many markers, in order.
func counted(numbers map[int]int, least int) []int {
	var out []int
	for n, seen := range numbers {
		if seen >= least {
			out = append(out, n)
		}
	}
	sort.Ints(out)
	return out
}

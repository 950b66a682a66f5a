package page

import "fmt"

// chanceWords are the words for a probability, from the lowest share that they
// stand for. They follow the scale of the IPCC's guidance note on uncertainties
// of 2010 (from memory), made exclusive, and are the only such words that
// reports use.
var chanceWords = []struct {
	from float64
	word string
}{
	{.99, "almost certain"}, {.90, "very likely"}, {.66, "likely"}, {.33, "about as likely as not"}, {.10, "unlikely"}, {0, "very unlikely"},
}

// chance is the word for a probability.
func chance(p float64) string { return chanceWords[chanceStep(p)].word }

// chanceStep is 0 for what is almost certain, and more for what is less so.
func chanceStep(p float64) int {
	for i, c := range chanceWords {
		if p >= c.from {
			return i
		}
	}
	return len(chanceWords) - 1 // not a number, too
}

// chanceLegend says what the words mean.
func chanceLegend() (out []pair) {
	upper := "100 %"
	for i, c := range chanceWords {
		lower := fmt.Sprintf("%.0f %%", 100*c.from)
		name := lower + " to " + upper
		switch i {
		case 0:
			name = lower + " and over"
		case len(chanceWords) - 1:
			name = "under " + upper
		}
		out = append(out, pair{c.word, name})
		upper = lower
	}
	return out
}

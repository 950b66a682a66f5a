package proportion

import (
	"fmt"
	"slices"
	"strings"
)

// The plans of sampling by attributes, single and normal, as ISO 2859-1 and its
// forebear MIL-STD-105E (1989, table II-A) have them. The figures here come from
// public copies of MIL-STD-105E; row R is from memory. Whoever is bound by the
// standard looks into the standard.

// AQLs are the acceptance quality limits, per cent not conforming.
var AQLs = []string{"0.65", "1.0", "1.5", "2.5", "4.0", "6.5"}

// Levels are the inspection levels.
var Levels = []string{"I", "II", "III", "S-1", "S-2", "S-3", "S-4"}

// Plan is a sampling plan: of Size pieces at most Accept may be bad.
type Plan struct {
	Code         string
	Size, Accept int
	All          bool // the sample is the whole lot
}

// lotEnds are the largest lots of the rows of codes; any larger lot is in the last.
var lotEnds = []int{8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000}

// codes are the code letters by level, one a row of lots.
var codes = map[string]string{
	"I": "AABCCDEFGHJKLMN", "II": "ABCDEFGHJKLMNPQ", "III": "BCDEFGHJKLMNPQR",
	"S-1": "AAAABBBBCCCCDDD", "S-2": "AAABBBCCCDDDEEE", "S-3": "AABBCCDDEEFFGGH", "S-4": "AABCCDEEFGGHJJK",
}

const letterOrder = "ABCDEFGHJKLMNPQR"

var sizes = []int{2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000}

// accepts holds a row a letter and a column an AQL; v is the plan below, ^ the
// one above.
var accepts = strings.Fields(`
v  v  v  v  v  0
v  v  v  v  0  ^
v  v  v  0  ^  v
v  v  0  ^  v  1
v  0  ^  v  1  2
0  ^  v  1  2  3
^  v  1  2  3  5
v  1  2  3  5  7
1  2  3  5  7  10
2  3  5  7  10 14
3  5  7  10 14 21
5  7  10 14 21 ^
7  10 14 21 ^  ^
10 14 21 ^  ^  ^
14 21 ^  ^  ^  ^
21 ^  ^  ^  ^  ^`)

// PlanFor is the plan for a lot of so many pieces.
func PlanFor(lot int, level, aql string) (Plan, error) {
	row, ok := codes[level]
	if !ok {
		return Plan{}, fmt.Errorf("level %q is none; levels are %s", level, strings.Join(Levels, ", "))
	}
	column := slices.Index(AQLs, aql)
	if column < 0 {
		return Plan{}, fmt.Errorf("AQL %q is not in the table; it has %s", aql, strings.Join(AQLs, ", "))
	}
	if lot < 2 {
		return Plan{}, fmt.Errorf("a lot of %d: the tables begin at 2", lot)
	}
	end, _ := slices.BinarySearch(lotEnds, lot)
	at := strings.IndexByte(letterOrder, row[end])
	for {
		switch cell := accepts[at*len(AQLs)+column]; cell {
		case "v":
			at++
		case "^":
			at--
		default:
			p := Plan{Code: letterOrder[at : at+1], Size: sizes[at]}
			fmt.Sscan(cell, &p.Accept)
			if p.Size >= lot {
				p.Size, p.All = lot, true
			}
			return p, nil
		}
	}
}

// Table is the whole table of plans as rows of cells, the first its heading.
func Table() [][]string {
	out := [][]string{append([]string{"code", "sample"}, AQLs...)}
	for i, n := range sizes {
		row := []string{letterOrder[i : i+1], fmt.Sprint(n)}
		out = append(out, append(row, accepts[i*len(AQLs):(i+1)*len(AQLs)]...))
	}
	return out
}

// LotCodes is the table of code letters as rows of cells, the first its heading.
func LotCodes() [][]string {
	out := [][]string{append([]string{"lot"}, Levels...)}
	from := 2
	for i := range len(lotEnds) + 1 {
		lot := fmt.Sprintf("%d or more", from)
		if i < len(lotEnds) {
			lot = fmt.Sprintf("%d to %d", from, lotEnds[i])
			from = lotEnds[i] + 1
		}
		row := []string{lot}
		for _, l := range Levels {
			row = append(row, codes[l][i:i+1])
		}
		out = append(out, row)
	}
	return out
}

package judge

import (
	"cmp"
	"slices"
)

// Rule is one entry of the registry. The file of a rule registers it, the
// schedule holds its limits, and texts.go what is said of it.
type Rule struct {
	ID    string   // in inspection.json, in the CSV and in the ledger
	Order int      // rules answer in this order
	Keys  []string // the limits that it holds lengths against, as the schedule names them
	Needs []Need   // what must have been measured
	// Remedy is what is usually done when it is broken, as it follows "common practice is".
	Remedy string

	// A rule answers for each head, or for pieces and joints, or for both.
	head   headRule
	pieces pieceRule
}

// Need is something that a photo must tell before a rule can judge.
type Need string

// The needs: lengths by their names in an inspection, and more.
const (
	AboveButt    Need = "above_butt"
	Ends         Need = "ends"
	LowerJoint   Need = "lower_joint"
	NextJoint    Need = "next_joint"
	HeadDiameter Need = "head_diameter"
	DriveClass   Need = "drive"
	Pieces       Need = "pieces"
	// Along is where the heads lie along the course, which an inspection does not keep.
	Along Need = "along"
)

// headRule answers for one head, by its index in Result.Fasteners; false when
// the rule does not concern it.
type headRule func(c *scene, i int) (Finding, bool)

// pieceRule answers for all pieces or joints of the open course.
type pieceRule func(c *scene) []PieceFinding

// registry holds every rule, in their order.
var registry []Rule

// register adds a rule. A mistake in a rule's entry shows when the program starts.
func register(r Rule) {
	switch {
	case r.ID == "" || r.head == nil && r.pieces == nil:
		panic("judge: a rule needs an identifier and a function that answers")
	case slices.ContainsFunc(registry, func(o Rule) bool { return o.ID == r.ID || o.Order == r.Order }):
		panic("judge: rule " + r.ID + " has the identifier or the order of another one")
	}
	registry = append(registry, r)
	slices.SortFunc(registry, func(a, b Rule) int { return cmp.Compare(a.Order, b.Order) })
}

// Rules are all rules in their order.
func Rules() []Rule { return slices.Clone(registry) }

// Find gives the rule of an identifier.
func Find(id string) (Rule, bool) {
	if i := slices.IndexFunc(registry, func(r Rule) bool { return r.ID == id }); i >= 0 {
		return registry[i], true
	}
	return Rule{}, false
}

// Requires tells whether a rule needs something.
func (r Rule) Requires(n Need) bool { return slices.Contains(r.Needs, n) }

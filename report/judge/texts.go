package judge

import "slices"

// Text is one text in the languages of what goes to people on site.
type Text struct{ English, Spanish string }

// Texts are what is said of one rule. What to do is common practice, no source.
type Texts struct {
	Rule  string
	Label string // what it looks at, for the report and the record
	Site  Text   // the same, for people on site

	// The lines of the list of what is to be mended: of a head, and of a piece or joint.
	Head, Piece Lines
}

// Lines say how a rule is broken, and what to do.
type Lines struct {
	Low, High Line            // under its least, over its most: each takes the length and the limit
	Unsure    Text            // there is a limit, and it is not certain that it is kept
	Class     map[string]Line // by the drive class of the head
	Plain     Line            // there is nothing to compare
	Counts    bool            // Plain takes the number of nails seen
}

// Line is what is wrong and what to do.
type Line struct{ What, Do Text }

// texts hold every rule, in the order in which sheets list them.
var texts = []Texts{
	{
		Rule: "height", Label: "height above the butt edge",
		Site: Text{"height above the butt", "altura sobre el borde inferior"},
		Head: Lines{
			Low: Line{
				Text{"too low: %s above the butt edge, at least %s", "demasiado bajo: a %s del borde inferior, como mínimo %s"},
				Text{"Take it out, seal the hole and set one inside the band.", "Sacarlo, sellar el agujero y poner otro dentro de la franja de clavado."},
			},
			High: Line{
				Text{"too high: %s above the butt edge, at most %s", "demasiado alto: a %s del borde inferior, como máximo %s"},
				Text{"Set a further nail inside the band of the same piece.", "Poner otro clavo dentro de la franja de clavado de la misma pieza."},
			},
			Unsure: Text{"height above the butt edge not certain", "altura sobre el borde inferior no segura"},
		},
	},
	{
		Rule: "end", Label: "distance to the end of the piece",
		Site: Text{"distance to the end", "distancia al extremo"},
		Head: Lines{
			Low:    Line{Text{"too near to the end of the piece: %s, at least %s", "demasiado cerca del extremo de la pieza: %s, como mínimo %s"}, atTheEnd},
			High:   Line{Text{"too far from the end of the piece: %s, at most %s", "demasiado lejos del extremo de la pieza: %s, como máximo %s"}, atTheEnd},
			Unsure: Text{"distance to the end of the piece not certain", "distancia al extremo de la pieza no segura"},
		},
		Piece: Lines{
			High:   Line{Text{"no nail near one end of the piece: the nearest at %s, at most %s", "sin clavo cerca de un extremo de la pieza: el más cercano a %s, como máximo %s"}, atTheEnd},
			Unsure: Text{"distance to the end of the piece not certain", "distancia al extremo de la pieza no segura"},
		},
	},
	{
		Rule: "lower_joint", Label: "distance to a joint of the course below",
		Site: Text{"distance to the joint below", "distancia a la junta inferior"},
		Head: Lines{
			Low: Line{
				Text{"too near to a joint of the course below: %s, at least %s", "demasiado cerca de una junta de la hilera inferior: %s, como mínimo %s"},
				Text{"Seal it and set another nail clear of the joint.", "Sellarlo y poner otro clavo lejos de la junta."},
			},
			Unsure: Text{"distance to a joint of the course below not certain", "distancia a una junta de la hilera inferior no segura"},
		},
	},
	{
		Rule: "next_joint", Label: "distance to a joint of the next course",
		Site: Text{"distance to the next joint", "distancia a la junta siguiente"},
		Head: Lines{
			Low: Line{
				Text{"too near to a joint of the next course: %s, at least %s", "demasiado cerca de una junta de la hilera siguiente: %s, como mínimo %s"},
				Text{"Shift that joint, or seal this nail and set another one.", "Correr esa junta, o sellar este clavo y poner otro."},
			},
			Unsure: Text{"distance to a joint of the next course not certain", "distancia a una junta de la hilera siguiente no segura"},
		},
	},
	{
		Rule: "drive", Label: "how the head is driven",
		Site: Text{"how it is driven", "cómo está clavado"},
		Head: Lines{
			Class: map[string]Line{
				"overdriven":  {Text{"driven too deep", "hundido de más"}, Text{"Seal it and set a sound nail beside it.", "Sellarlo y poner un clavo correcto al lado."}},
				"underdriven": {Text{"stands proud", "sobresale"}, Text{"Drive it flush.", "Clavarlo a ras."}},
				"cocked": {
					Text{"driven at a slant", "clavado inclinado"},
					Text{"Take it out, seal the hole and set a straight one beside it.", "Sacarlo, sellar el agujero y poner uno derecho al lado."},
				},
			},
			Plain: Line{What: Text{"how it is driven is not certain", "no se ve bien cómo está clavado"}},
		},
	},
	{
		Rule: "head_size", Label: "size of the head",
		Site: Text{"size of the head", "tamaño de la cabeza"},
		Head: Lines{
			Low: Line{
				Text{"head too small: %s, at least %s", "cabeza demasiado pequeña: %s, como mínimo %s"},
				Text{"Check one from the same box with a caliper.", "Medir con calibre uno de la misma caja."},
			},
			Unsure: Text{"size of the head not certain", "tamaño de la cabeza no seguro"},
		},
	},
	{
		Rule: "exposed", Label: "head left exposed",
		Site: Text{"left to the weather", "a la intemperie"},
		Head: Lines{Plain: Line{
			Text{"below the butt edge, left to the weather", "debajo del borde inferior, a la intemperie"},
			Text{"Take it out and seal the hole.", "Sacarlo y sellar el agujero."},
		}},
	},
	{
		Rule: "count", Label: "number of heads in a piece",
		Site: Text{"number of nails", "cantidad de clavos"},
		Piece: Lines{
			Plain: Line{
				Text{"too few nails: %d seen", "faltan clavos: se ven %d"},
				Text{"Add what is missing, evenly spaced in the band.", "Agregar los que faltan, a distancias iguales dentro de la franja de clavado."},
			},
			Counts: true,
		},
	},
	{
		Rule: "gap", Label: "spacing of the heads",
		Site: Text{"gap between nails", "separación de los clavos"},
		Piece: Lines{
			High: Line{
				Text{"two neighbours too far apart: %s, at most %s", "dos clavos vecinos demasiado separados: %s, como máximo %s"},
				Text{"Set a further nail between the two.", "Poner otro clavo entre los dos."},
			},
			Unsure: Text{"spacing of the nails not certain", "separación de los clavos no segura"},
		},
	},
	{
		Rule: "offset", Label: "offset of the joints",
		Site: Text{"offset of the joints", "desfase de las juntas"},
		Piece: Lines{
			Low: Line{
				Text{"joint too near to a joint of the course above: %s, at least %s", "junta demasiado cerca de una junta de la hilera superior: %s, como mínimo %s"},
				askFirst,
			},
			Unsure: Text{"offset of the joints not certain", "desfase de las juntas no seguro"},
		},
	},
	{
		Rule: "narrow", Label: "width of the piece",
		Site: Text{"width of the piece", "ancho de la pieza"},
		Piece: Lines{
			Low:    Line{Text{"too narrow: %s, at least %s", "demasiado angosta: %s, como mínimo %s"}, askFirst},
			Unsure: Text{"width of the piece not certain", "ancho de la pieza no seguro"},
		},
	},
}

var (
	atTheEnd = Text{"Set a further nail at the right distance from the end.", "Poner otro clavo a la distancia correcta del extremo."}
	askFirst = Text{"Ask the supervisor before the next course is laid.", "Preguntar al supervisor antes de colocar la hilera siguiente."}
)

// AllTexts are the texts of every rule, in the order in which sheets list them.
func AllTexts() []Texts { return slices.Clone(texts) }

// TextsOf gives the texts of a rule; false for one that this version does not have.
func TextsOf(rule string) (Texts, bool) {
	if i := slices.IndexFunc(texts, func(t Texts) bool { return t.Rule == rule }); i >= 0 {
		return texts[i], true
	}
	return Texts{}, false
}

// Each calls back for every text of the lines.
func (l Lines) Each(do func(Text)) {
	all := []Line{l.Low, l.High, {What: l.Unsure}, l.Plain}
	for _, c := range l.Class {
		all = append(all, c)
	}
	for _, line := range all {
		for _, t := range []Text{line.What, line.Do} {
			if t.English != "" {
				do(t)
			}
		}
	}
}

// Of picks the line for a length against its limits (nil where there is none)
// and a drive class, and the limit that is broken. Without a line for it the
// rule may only be in doubt, and what to do is still told.
func (l Lines) Of(mm, low, high *float64, class string) (line Line, limit *float64) {
	if c, ok := l.Class[class]; ok {
		return c, nil
	}
	over := mm != nil && high != nil && *mm > *high
	under := mm != nil && low != nil && *mm < *low
	switch {
	case over && l.High.What.English != "":
		return l.High, high
	case under && l.Low.What.English != "":
		return l.Low, low
	case l.Unsure.English == "":
		return l.Plain, nil
	case l.Low.Do.English != "":
		return Line{l.Unsure, l.Low.Do}, nil
	}
	return Line{l.Unsure, l.High.Do}, nil
}

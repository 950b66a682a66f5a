package mend

import (
	"slices"
	"strings"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"

	"coursegauge/report/judge"
	"coursegauge/vision/length"
)

// texts are all that the list says but the lines of the rules, which are those of
// judge: English, which is also the key, and Spanish. Where a count decides the
// form, the text stands in plurals.
var texts = [][2]string{
	{"Mend list: %s", "Lista de reparaciones: %s"},
	{"From the inspection of %s.", "Según la inspección del %s."},
	{"What was decided to be sound is left out.", "No figura lo que se declaró correcto."},
	{"Of %d photos that could tell, %d do not fit the width, height and exposure in the schedule: this looks like another product. Compare the schedule with the wrapper before anything is mended.", "De %d fotos que permiten saberlo, %d no concuerdan con el ancho, la altura y la exposición de la ficha del producto: parece otro producto. Comparar la ficha con el envoltorio antes de reparar nada."},
	{"Nothing is to be mended.", "No hay nada que reparar."},
	{"Photo %s", "Foto %s"},
	{"Crew: %s", "Cuadrilla: %s"},
	{"Taken: %s", "Tomada: %s"},
	{"photo with the numbers of the list", "foto con los números de la lista"},
	{"The picture is not in the report.", "La imagen no está en el informe."},
	{"Done", "Hecho"},
	{"No.", "N.º"},
	{"What", "Qué"},
	{"To do", "Qué hacer"},
	{"Mended by", "Reparado por"},
	{"Date", "Fecha"},
	{"Note: %s", "Nota: %s"},
	{"decided: wrong", "decidido: mal"},
	{"not decided yet", "aún sin decidir"},
	{"look, or measure by hand", "revisar o medir a mano"},
	{"people disagree: ask the supervisor", "hay desacuerdo: preguntar al supervisor"},
	{"%s in", "%s pulg"},

	{"Nail %d", "Clavo %d"},
	{"Piece %d", "Pieza %d"},
	{"Joint %d of the course below", "Junta %d de la hilera inferior"},
	{"Marked by hand", "Marcado a mano"},

	{"a nail that was not measured", "un clavo que no se midió"},
	{"a rule may be broken", "quizá no se cumple una regla"},

	{"Look, or measure by hand.", "Revisar o medir a mano."},

	{"Before you begin", "Antes de empezar"},
	{"What to do is common practice. The instructions printed on the shingle's wrapper and the local code come first; where they differ from this list, they win.",
		"Lo que hay que hacer es práctica común. Primero valen las instrucciones impresas en el envoltorio de las tejas y el código local; si difieren de esta lista, valen ellas."},
	{"Do not go on the roof unless you are trained, allowed and protected from falling (29 CFR 1926 subpart M, or your local rule).",
		"No suba al techo sin capacitación, permiso y protección contra caídas (29 CFR 1926 subparte M o la norma local)."},
	{"Only what the photos show was judged. This list does not say that the roof meets a code or that a warranty applies.",
		"Solo se juzgó lo que muestran las fotos. Esta lista no dice que el techo cumpla un código ni que valga una garantía."},
}

// plurals are texts whose form a count decides: one, other, in each language.
var plurals = []struct{ key, one, other, esOne, esOther string }{
	{"%d things to mend", "%d thing to mend", "%d things to mend", "%d cosa que reparar", "%d cosas que reparar"},
	{"too few nails: %d seen", "too few nails: %d seen", "too few nails: %d seen", "faltan clavos: se ve %d", "faltan clavos: se ven %d"},
}

var (
	supported = []language.Tag{language.English, language.Spanish}
	words     = newCatalog()
)

// allTexts are texts with the lines of the rules.
func allTexts() [][2]string {
	all := slices.Clone(texts)
	put := func(t judge.Text) {
		if one := [2]string{t.English, t.Spanish}; !slices.Contains(all, one) { // rules share some
			all = append(all, one)
		}
	}
	for _, t := range judge.AllTexts() {
		for _, lines := range []judge.Lines{t.Head, t.Piece} {
			lines.Each(put)
		}
	}
	return all
}

func newCatalog() *catalog.Builder {
	c := catalog.NewBuilder(catalog.Fallback(language.English))
	set := func(err error) {
		if err != nil {
			panic("mend: " + err.Error()) // a text above is no message: the tests would not start
		}
	}
	for _, t := range allTexts() {
		set(c.SetString(language.English, t[0], t[0]))
		set(c.SetString(language.Spanish, t[0], t[1]))
	}
	for _, p := range plurals {
		set(c.Set(language.English, p.key, plural.Selectf(1, "%d", plural.One, p.one, plural.Other, p.other)))
		set(c.Set(language.Spanish, p.key, plural.Selectf(1, "%d", plural.One, p.esOne, plural.Other, p.esOther)))
	}
	return c
}

// Languages are the languages of the list.
func Languages() []string {
	out := make([]string, len(supported))
	for i, t := range supported {
		out[i] = t.String()
	}
	return out
}

// Speaks tells whether the list can be had in that language.
func Speaks(lang string) bool {
	for _, l := range Languages() {
		if l == lang {
			return true
		}
	}
	return false
}

// speaker says the texts in one language.
type speaker struct {
	lang    string
	printer *message.Printer
	asked   func(key string) // of tests
}

func newSpeaker(lang string) speaker {
	return speaker{lang, message.NewPrinter(language.Make(lang), message.Catalog(words)), func(string) {}}
}

func (s speaker) say(key string, args ...any) string {
	s.asked(key)
	return s.printer.Sprintf(key, args...)
}

// apart are a length and its limit as a crew reads them off a tape; where
// sixteenths would make the two alike, in hundredths.
func (s speaker) apart(mm, limit float64) []any {
	a, b := length.Sixteenths(length.MM(mm)), length.Sixteenths(length.MM(limit))
	if a == b {
		a, b = length.Inches(length.MM(mm)), length.Inches(length.MM(limit))
	}
	return []any{s.say("%s in", strings.TrimSuffix(a, " in")), s.say("%s in", strings.TrimSuffix(b, " in"))}
}

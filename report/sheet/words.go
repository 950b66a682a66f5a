package sheet

import (
	"fmt"
	"math"

	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"

	"coursegauge/report/judge"
	"coursegauge/vision/length"
)

// texts are all that the sheets say but the names of the rules, which are those
// of judge: English, which is also the key, and
// Spanish. No text depends on whether a count is one.
var texts = [][2]string{
	{"Nailing of %s", "Clavado de %s"},
	{"From %s to %s.", "Del %s al %s."},
	{"Photos without a date: %s. They count here, but in no change over time.", "Fotos sin fecha: %s. Cuentan aquí, pero en ningún cambio a lo largo del tiempo."},
	{"Photos without a date: %s. They are left out, since nobody knows whether they are of these days.", "Fotos sin fecha: %s. Quedan fuera, porque nadie sabe si son de estos días."},
	{"No photo has a date, so there is nothing to compare.", "Ninguna foto tiene fecha, así que no hay nada que comparar."},
	{"Only photos of %s are on this sheet.", "En esta hoja solo hay fotos de %s."},
	{"At a glance", "De un vistazo"},
	{"photos", "fotos"}, {"nails", "clavos"}, {"bad", "mal"}, {"cannot be told", "no se puede saber"}, {"days", "días"},
	{"%s of the nails that could be judged are bad (%s to %s).", "El %s de los clavos que se pudieron juzgar está mal (de %s a %s)."},
	{"No nail could be judged.", "No se pudo juzgar ningún clavo."},
	{"%s of the photos could not be measured.", "%s de las fotos no se pudieron medir."},
	{"Nails that people saw and the measurement did not find: %s.", "Clavos que vieron las personas y la medición no encontró: %s."},
	{"Nails that full pieces lack: %s in %s checked (%s a piece).", "Clavos que faltan en piezas enteras: %s en %s revisadas (%s por pieza)."},

	{"Where the nails go", "Dónde quedan los clavos"},
	{"diamond: bad", "rombo: mal"}, {"square: cannot be told", "cuadrado: no se puede saber"}, {"circle: good", "círculo: bien"}, {"triangle: not judged", "triángulo: no juzgado"},
	{"cross in a ring: aim point", "cruz en un anillo: punto al que se apunta"}, {"ring: 95 of 100 nails", "anillo: 95 de cada 100 clavos"}, {"shaded: nailing band", "sombreado: franja de clavado"}, {"line: joint of the course below", "línea: junta de la hilera inferior"},
	{"Every nail on one piece", "Todos los clavos sobre una pieza"},
	{"left end", "extremo izquierdo"}, {"right end", "extremo derecho"}, {"butt edge", "borde inferior"}, {"top edge", "borde superior"},
	{"Nails drawn: %s, on a piece %s wide; %s of them bad. The band is from %s to %s above the butt edge.", "Clavos dibujados: %s, sobre una pieza de %s de ancho; %s de ellos mal. La franja va de %s a %s sobre el borde inferior."},
	{"The width was taken from the widest piece measured.", "El ancho se tomó de la pieza más ancha medida."},
	{"About the aim point", "Alrededor del punto al que se apunta"},
	{"to the right of the aim point", "a la derecha del punto"}, {"above the aim point", "encima del punto"},
	{"On average %s and %s. The ellipse holds 95 of 100 nails.", "En promedio %s y %s. La elipse contiene 95 de cada 100 clavos."},
	{"%s above the aim", "%s por encima del punto"}, {"%s below the aim", "%s por debajo del punto"},
	{"%s to the right of it", "%s a la derecha"}, {"%s to the left of it", "%s a la izquierda"},
	{"Farther off than the picture shows: %s.", "Más lejos de lo que muestra el dibujo: %s."},
	{"About the joint of the course below", "Alrededor de la junta de la hilera inferior"},
	{"to the right of the joint", "a la derecha de la junta"},
	{"Nails drawn: %s, within %s of a joint below; %s of them nearer than the %s asked for.", "Clavos dibujados: %s, a menos de %s de una junta inferior; %s de ellos a menos de los %s que se piden."},
	{"The aim point is the middle of the band, and nails evenly spaced between two near the ends; that is common practice. The product's instructions decide.",
		"El punto al que se apunta es el medio de la franja, con los clavos a distancias iguales entre dos cerca de los extremos; es práctica común. Deciden las instrucciones del producto."},

	{"Bias and spread", "Desvío y dispersión"},
	{"Direction", "Dirección"}, {"Nails", "Clavos"}, {"On average", "En promedio"}, {"95 %% interval", "Intervalo del 95 %%"}, {"Spread of the nails", "Dispersión de los clavos"},
	{"As measured", "Como se midió"}, {"Of the measurement alone", "De la medición sola"},
	{"along the course, to the right", "a lo largo de la hilera, a la derecha"},
	{"%s to %s", "de %s a %s"}, {"too few nails for an interval", "muy pocos clavos para un intervalo"}, {"not more than the measurement's own", "no mayor que la de la medición"},
	{"Standard deviations. The part that the measurement itself makes is taken off: what is left belongs to the nails.", "Desviaciones estándar. Se resta la parte que pone la medición misma: lo que queda es de los clavos."},

	{"How often a rule is broken", "Con qué frecuencia no se cumple una regla"},
	{"Rule", "Regla"}, {"Bad", "Mal"}, {"Of", "De"}, {"Share", "Parte"}, {"Cannot be told", "No se puede saber"},
	{"nail", "clavo"}, {"piece", "pieza"}, {"joint", "junta"},
	{"How the nails are driven", "Cómo están clavados"},
	{"flush", "a ras"}, {"overdriven", "hundido de más"}, {"underdriven", "sobresale"}, {"cocked", "inclinado"}, {"unclear", "no se ve bien"},

	{"Over time", "Con el tiempo"},
	{"Share of bad nails by day", "Parte de clavos mal por día"}, {"Share of bad nails by week", "Parte de clavos mal por semana"}, {"Share of bad nails by month", "Parte de clavos mal por mes"},
	{"all together %s", "en total %s"}, {"limit of chance", "límite del azar"}, {"of the year %s", "del año %s"},
	{"%s points, on average %s bad; %s outside the limits of chance.", "%s puntos, en promedio %s mal; %s fuera de los límites del azar."},
	{"A point between the dashed lines differs from the others by no more than chance makes it. A diamond lies outside: ask what was different then.",
		"Un punto entre las líneas de trazos no difiere de los demás más de lo que hace el azar. Un rombo está fuera: pregunte qué cambió entonces."},
	{"There are photos of one day only, so there is nothing to compare.", "Solo hay fotos de un día, así que no hay nada que comparar."},
	{"Improved", "Mejoró"}, {"Got worse", "Empeoró"}, {"Too few nails to tell", "Muy pocos clavos para saberlo"},
	{"From %s (%s to %s) to %s (%s to %s) the share of bad nails went from %s to %s: a change of %s percentage points, 95 %% interval %s to %s.",
		"De %s (del %s al %s) a %s (del %s al %s) la parte de clavos mal pasó de %s a %s: un cambio de %s puntos porcentuales, intervalo del 95 %% de %s a %s."},
	{"the first half", "la primera mitad"}, {"the second half", "la segunda mitad"}, {"the time before", "el tiempo anterior"}, {"this period", "este período"},
	{"The average height changed by %s (%s to %s).", "La altura promedio cambió en %s (de %s a %s)."},
	{"There are no photos of the time before (%s to %s) to compare with.", "No hay fotos del tiempo anterior (del %s al %s) para comparar."},

	{"Habits to work on", "Costumbres que mejorar"},
	{"At most three, the most frequent first. Where the ranges overlap, the order says little.", "A lo sumo tres, la más frecuente primero. Donde los rangos se superponen, el orden dice poco."},
	{"No habit shows: nothing went wrong three times or more, in two photos or more.", "No se ve ninguna mala costumbre: nada salió mal tres veces o más, en dos fotos o más."},
	{"%s of %s (%s; %s to %s)", "%s de %s (%s; de %s a %s)"},
	{"Not like this", "Así no"}, {"Like this", "Así sí"},
	{"%s, nail %s", "%s, clavo %s"}, {"%s, piece %s", "%s, pieza %s"},
	{"%s; the limit is %s", "%s; el límite es %s"},
	{"The photo is not where it was; a sheet made on the machine with the photos shows it.", "La foto no está donde estaba; una hoja hecha en la computadora que tiene las fotos la muestra."},
	{"No good example among the photos.", "No hay un buen ejemplo entre las fotos."},
	{"photo of nail %s", "foto del clavo %s"}, {"photo of piece %s", "foto de la pieza %s"},

	{"Before you use this", "Antes de usar esto"},
	{"Follow the instructions printed on the shingle's wrapper and the local code; where they differ from this sheet, they win.",
		"Siga las instrucciones impresas en el envoltorio de las tejas y el código local; si difieren de esta hoja, valen ellas."},
	{"Photos that somebody chose are no random sample: the figures say what the photos show, and no more of the roof than that.",
		"Las fotos que alguien eligió no son una muestra al azar: las cifras dicen lo que muestran las fotos, y no más del techo que eso."},
	{"Do not go on a roof for a photo unless you are trained, allowed and protected from falling (29 CFR 1926 subpart M, or your local rule).",
		"No suba a un techo para una foto sin capacitación, permiso y protección contra caídas (29 CFR 1926 subparte M o la norma local)."},
	{"This sheet is for learning. It does not compare people and is no ground for a penalty.", "Esta hoja es para aprender. No compara personas y no justifica una sanción."},
	{"How this was reckoned", "Cómo se calculó"},
	{"Shares have Wilson's 95 %% interval; where nails of one photo resemble each other, they count for fewer (Kish). The change of a share has Newcombe's interval (1998, method 10). The chart has limits at three standard deviations, and those of the binomial distribution where fewer than five of a kind are expected. Intervals of bias and spread leave out one photo at a time. What all photos share, such as the size of the card's print, shows in none of them: only a tape tells it.",
		"Las partes llevan el intervalo del 95 %% de Wilson; donde los clavos de una foto se parecen, cuentan menos (Kish). El cambio de una parte lleva el intervalo de Newcombe (1998, método 10). El gráfico tiene límites a tres desviaciones estándar, y los de la distribución binomial donde se esperan menos de cinco de una clase. Los intervalos de desvío y dispersión dejan fuera una foto por vez. Lo que comparten todas las fotos, como el tamaño de la tarjeta impresa, no se ve en ninguno: solo lo dice una cinta métrica."},
	{"What people decided stands before what the tool said.", "Lo que decidieron las personas vale antes que lo que dijo el programa."},
	{"%s in", "%s pulg"},

	{"Exercise of %s", "Ejercicio de %s"},
	{"Photo %s of %s", "Foto %s de %s"},
	{"next photo", "foto siguiente"}, {"photo before", "foto anterior"}, {"to the start", "al comienzo"}, {"Begin", "Empezar"},
	{"Nothing to say against this one.", "Nada que objetar en esta."},
	{"Look at it together:", "Mírenlo juntos:"},
	{"This photo could not be measured: take it again.", "Esta foto no se pudo medir: tómela de nuevo."},
	{"Nail %s", "Clavo %s"}, {"Piece %s", "Pieza %s"},
	{"look, or measure by hand", "mirar, o medir a mano"},
	{"What I want to do differently:", "Lo que quiero hacer distinto:"},
	{"Photo", "Foto"}, {"To look at", "Para mirar"},
	{"the whole photo with marks", "la foto entera con marcas"},
	{"The picture is not in the report.", "La imagen no está en el informe."},
	{"a rule may be broken", "quizá no se cumple una regla"},
}

// habitText names a habit and says what to do: short, as a person would on the
// roof. What to do is common practice, no source.
type habitText struct{ short, title, do string }

var habitWords = map[string]habitText{
	"high":       {"too high", "You nail too high", "Nail lower, in the middle of the band: only there does the nail catch the shingle below as well."},
	"low":        {"too low", "You nail too low", "Nail higher, in the middle of the band: a low nail sits where water runs."},
	"near_end":   {"too near the end", "You nail too near the end of the piece", "Move in about an inch from the end: near it the shingle tears."},
	"far_end":    {"too far from the end", "You leave the end of the piece without a nail", "Set the last nail about an inch from the end: a loose end lifts in the wind."},
	"joint":      {"tight to the joint below", "You nail tight to the joint of the course below", "Look for the joint below before you nail, and keep clear of it: there water finds the nail."},
	"next_joint": {"where the next joint will lie", "You nail where the next course will have a joint", "Think of where the next course begins, and keep the nail clear of its joint."},
	"deep":       {"driven too deep", "You drive too deep", "Turn the pressure down, or set the gun to drive less deep, until the head lies flush: a head that cuts the mat holds nothing."},
	"proud":      {"stands proud", "Your nails stand proud", "Turn the pressure up, or tap the nail down: a head that stands out wears a hole into the shingle above."},
	"slant":      {"at a slant", "You drive at a slant", "Hold the gun square to the roof: a slanted head cuts the mat with one edge."},
	"few":        {"too few nails", "You set too few nails", "Count each piece before you go on."},
	"gap":        {"too far apart", "You leave gaps between nails", "Space the nails evenly between the two near the ends."},
	"exposed":    {"a nail left to the weather", "You leave nails to the weather", "Nail inside the band only: below the butt edge nothing covers the nail."},
}

var habitSpanish = map[string]habitText{
	"high":       {"demasiado alto", "Clava demasiado alto", "Clave más abajo, en el medio de la franja: solo ahí el clavo toma también la teja de abajo."},
	"low":        {"demasiado bajo", "Clava demasiado bajo", "Clave más arriba, en el medio de la franja: un clavo bajo queda donde corre el agua."},
	"near_end":   {"demasiado cerca del extremo", "Clava demasiado cerca del extremo de la pieza", "Aléjese cerca de una pulgada del extremo: junto a él la teja se rasga."},
	"far_end":    {"demasiado lejos del extremo", "Deja el extremo de la pieza sin clavo", "Ponga el último clavo a cerca de una pulgada del extremo: un extremo suelto se levanta con el viento."},
	"joint":      {"pegado a la junta inferior", "Clava pegado a la junta de la hilera inferior", "Busque la junta de abajo antes de clavar y manténgase lejos de ella: ahí el agua encuentra el clavo."},
	"next_joint": {"donde irá la junta siguiente", "Clava donde la hilera siguiente tendrá una junta", "Piense dónde empieza la hilera siguiente y mantenga el clavo lejos de su junta."},
	"deep":       {"hundido de más", "Hunde demasiado los clavos", "Baje la presión, o ajuste la clavadora para que hunda menos, hasta que la cabeza quede a ras: una cabeza que corta la teja no sujeta nada."},
	"proud":      {"sobresale", "Sus clavos sobresalen", "Suba la presión o golpee el clavo: una cabeza que sobresale perfora la teja de arriba."},
	"slant":      {"inclinado", "Clava inclinado", "Sostenga la clavadora a escuadra con el techo: una cabeza inclinada corta la teja con un borde."},
	"few":        {"faltan clavos", "Pone pocos clavos", "Cuente cada pieza antes de seguir."},
	"gap":        {"demasiado separados", "Deja huecos entre los clavos", "Reparta los clavos a distancias iguales entre los dos de los extremos."},
	"exposed":    {"un clavo a la intemperie", "Deja clavos a la intemperie", "Clave solo dentro de la franja: debajo del borde inferior nada cubre el clavo."},
}

var (
	supported = []language.Tag{language.English, language.Spanish}
	words     = newCatalog()
	spoken    = map[string]bool{}
)

func newCatalog() *catalog.Builder {
	c := catalog.NewBuilder(catalog.Fallback(language.English))
	set := func(err error) {
		if err != nil {
			panic("sheet: " + err.Error()) // a text above is no message: the tests would not start
		}
	}
	put := func(english, spanish string) {
		set(c.SetString(language.English, english, english))
		set(c.SetString(language.Spanish, english, spanish))
		spoken[english] = true
	}
	for _, t := range texts {
		put(t[0], t[1])
	}
	for _, t := range judge.AllTexts() {
		put(t.Site.English, t.Site.Spanish)
	}
	for key, t := range habitWords {
		es := habitSpanish[key]
		put(t.short, es.short)
		put(t.title, es.title)
		put(t.do, es.do)
	}
	return c
}

// Languages are the languages of the sheets.
func Languages() []string {
	var out []string
	for _, t := range supported {
		out = append(out, t.String())
	}
	return out
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

// inches is a length in hundredths of an inch.
func (s speaker) inches(mm float64) string { return s.say("%s in", fmt.Sprintf("%.2f", mm/inch)) }

// signed is a number of inches with its sign, without the unit.
func (s speaker) signed(mm float64) string {
	v := math.Round(mm/inch*100) / 100
	if v == 0 {
		return "0"
	}
	if v == math.Trunc(v) {
		return fmt.Sprintf("%+.0f", v)
	}
	return fmt.Sprintf("%+.2f", v)
}

// tape is a length as read off a tape.
func (s speaker) tape(mm float64) string {
	text := length.Sixteenths(length.MM(mm))
	return s.say("%s in", text[:len(text)-len(" in")])
}

// count is a whole number as the language groups it.
func (s speaker) count(n int) string { return s.printer.Sprint(n) }

// percent is a share; small ones have a decimal.
func (s speaker) percent(v float64) string {
	if v > 0 && v < .0995 {
		return fmt.Sprintf("%.1f %%", 100*v)
	}
	return fmt.Sprintf("%.0f %%", 100*v)
}

// points is a difference of shares in percentage points.
func (s speaker) points(v float64) string { return fmt.Sprintf("%+.1f", 100*v) }

// direction says a deviation to one side or the other.
func (s speaker) direction(mm float64, positive, negative string) string {
	if mm < 0 {
		return s.say(negative, s.inches(-mm))
	}
	return s.say(positive, s.inches(mm))
}

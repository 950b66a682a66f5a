package board

import (
	"maps"
	"slices"
)

// Lang is the language of what is written on the card.
type Lang string

// The languages.
const (
	English Lang = "en"
	Spanish Lang = "es"
)

// Langs lists the legal languages.
func Langs() []string {
	var out []string
	for _, l := range slices.Sorted(maps.Keys(words)) {
		out = append(out, string(l))
	}
	return out
}

// text is everything that is written on both pages.
type text struct {
	card, upSlope, print, mount, bar, steps, caution string
	numbers                                          []string

	title                                     string
	distanceTitle, distance, square, metres   string
	placeTitle, place, yes, above, below, eav string
	spoilsTitle                               string
	spoils                                    [6]string
	stepsTitle                                string
	howto                                     []string
	cautionsTitle                             string
	cautions                                  []string
}

var words = map[Lang]text{
	English: {
		card: "Card", upSlope: "up slope", print: "Print at 100 %, without any fit to the page, on matte stock.",
		mount:   "Glue it flat on something stiff. Then measure the long side of the board and prove the card.",
		bar:     "10 in = 254.0 mm from outer edge to outer edge, as the board",
		steps:   "1 Lay the card flat near the open course, over no head.  2 Frame card and course whole, from 1 to 2 m, as squarely as is safe.  3 No zoom, no wide angle; stand, hold still, shoot.  4 Send the file as the phone made it.",
		caution: "On a roof only if trained, allowed and protected from falling. Frame first; never walk while looking at a screen. Follow the shingle's printed instructions and the local code.",
		numbers: []string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
			"eighteen", "nineteen", "twenty", "twenty-one", "twenty-two", "twenty-three", "twenty-four", "twenty-five", "twenty-six", "twenty-seven"},
		title:         "How to photograph an open course",
		distanceTitle: "From where", distance: "1 to 2 m", square: "as squarely on the shingles as you safely can; 45 degrees at most", metres: "3 to 7 ft",
		placeTitle: "Where to lay the card", place: "Flat, at any rotation, near the heads and over none: above them, or on the courses below.", yes: "good", above: "above the heads", below: "on the courses below", eav: "eave",
		spoilsTitle: "What spoils a photo",
		spoils:      [6]string{"card cut off", "two cards", "too far away", "too flat an angle", "blurred", "glare on the card"},
		stepsTitle:  "Step by step",
		howto: []string{
			"Before the next course covers the heads, lay the card flat on the shingles. It may lie at any rotation.",
			"Get the open course into the picture from its butt edge to its top edge, with whole pieces and both of their ends.",
			"A joint of the course below in the picture lets its distance to the heads be measured.",
			"Wipe the lens. Main camera, no zoom, no wide angle, no portrait mode. Sun or shade are both good.",
			"Stand still, frame, tap the shingles to focus, hold still, shoot. Look whether it is sharp.",
			"Send the file as the phone made it: messaging apps shrink photos and drop what the camera wrote.",
		},
		cautionsTitle: "First of all",
		cautions: []string{
			"Do not go on a roof for a photo unless you are trained, allowed and protected from falling (United States: 29 CFR 1926 subpart M; elsewhere the local rule).",
			"Frame first. Never walk while looking at a screen. Keep away from power lines, with poles and rulers too. Secure the card so that it cannot slide off.",
			"Follow the shingle's printed instructions and the local code; they win. The figures say where heads were measured, not that a roof meets a code. Licensed practice and the building official decide.",
		},
	},
	Spanish: {
		card: "Tarjeta", upSlope: "pendiente arriba", print: "Imprimir al 100 %, sin ajustar a la página, en papel mate.",
		mount:   "Pegarla plana sobre algo rígido. Después medir el lado largo del tablero y comprobar la tarjeta.",
		bar:     "10 in = 254.0 mm de borde exterior a borde exterior, como el tablero",
		steps:   "1 Ponga la tarjeta plana cerca de la hilera abierta, sin tapar cabezas.  2 Encuadre enteras la tarjeta y la hilera, a 1 o 2 m, lo más de frente que sea seguro.  3 Sin zoom ni gran angular; quieto, dispare.  4 Envíe el archivo tal como lo hizo el teléfono.",
		caution: "En un techo solo con formación, permiso y protección contra caídas. Primero encuadre; nunca camine mirando la pantalla. Siga las instrucciones impresas de la teja y el código local.",
		numbers: []string{"cero", "uno", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve", "diez", "once", "doce", "trece", "catorce", "quince", "dieciséis", "diecisiete",
			"dieciocho", "diecinueve", "veinte", "veintiuno", "veintidós", "veintitrés", "veinticuatro", "veinticinco", "veintiséis", "veintisiete"},
		title:         "Cómo fotografiar una hilera abierta",
		distanceTitle: "Desde dónde", distance: "1 a 2 m", square: "lo más de frente a las tejas que sea seguro; 45 grados como máximo", metres: "3 a 7 pies",
		placeTitle: "Dónde poner la tarjeta", place: "Plana, en cualquier giro, cerca de las cabezas y sin tapar ninguna: encima de ellas o sobre las hileras de abajo.", yes: "bien", above: "encima de las cabezas", below: "sobre las hileras de abajo", eav: "alero",
		spoilsTitle: "Lo que estropea una foto",
		spoils:      [6]string{"tarjeta cortada", "dos tarjetas", "demasiado lejos", "ángulo muy rasante", "movida", "reflejo en la tarjeta"},
		stepsTitle:  "Paso a paso",
		howto: []string{
			"Antes de que la hilera siguiente tape las cabezas, ponga la tarjeta plana sobre las tejas. Puede estar en cualquier giro.",
			"Encuadre la hilera abierta desde su borde inferior hasta su borde superior, con piezas enteras y sus dos extremos.",
			"Una junta de la hilera de abajo en la foto permite medir su distancia a las cabezas.",
			"Limpie la lente. Cámara principal, sin zoom, sin gran angular, sin modo retrato. Sirven el sol y la sombra.",
			"Quédese quieto, encuadre, toque las tejas para enfocar, no se mueva, dispare. Mire si salió nítida.",
			"Envíe el archivo tal como lo hizo el teléfono: las aplicaciones de mensajería reducen las fotos y borran los datos de la cámara.",
		},
		cautionsTitle: "Antes de nada",
		cautions: []string{
			"No suba a un techo por una foto sin formación, permiso y protección contra caídas (Estados Unidos: 29 CFR 1926, subparte M; en otros lugares, la norma local).",
			"Primero encuadre. Nunca camine mirando la pantalla. Lejos de líneas eléctricas, también con varas y reglas. Asegure la tarjeta para que no resbale.",
			"Siga las instrucciones impresas de la teja y el código local; son ellos los que mandan. Las cifras dicen dónde se midieron las cabezas, no que el techo cumpla un código. Deciden los profesionales con licencia y la autoridad de obras.",
		},
	},
}

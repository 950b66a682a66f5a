package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"coursegauge/calibrate/board"
	"coursegauge/calibrate/print"
	"coursegauge/vision/card"

	"github.com/spf13/cobra"
)

func newCard(t *terminal) *cobra.Command {
	c := &cobra.Command{
		Use:   "card",
		Short: "make the card to print, and prove a print",
		Args:  noSuchCommand,
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(newCardMake(t), newCardProve(t))
	return c
}

type makeOptions struct {
	number           int
	paper, out, lang string
}

func newCardMake(t *terminal) *cobra.Command {
	o := makeOptions{}
	c := &cobra.Command{
		Use:   "make --number N --out FILE.pdf",
		Short: "draw a card true to size, to be printed",
		Long: `make draws the card of a number and a page that shows how to photograph an open
course, true to size. Print it at 100 %, without any fit to the page, on matte
stock; glue it flat on something stiff; then measure its long side and tell it
to coursegauge card prove. Give each crew a number of its own.

A PDF holds both pages. Of an SVG or PNG the second page goes into a file of its
own, named FILE-2. A PNG has ` + fmt.Sprint(board.DPI) + ` dots an inch, and says so.`,
		Example: `  coursegauge card make --number 3 --paper letter --out card-3.pdf
  coursegauge card make --number 4 --paper a4 --lang es --out tarjeta-4.pdf`,
		Args: noWords,
		RunE: func(_ *cobra.Command, _ []string) error { return runMake(t, o) },
	}
	f := c.Flags()
	f.IntVar(&o.number, "number", -1, fmt.Sprintf("the card's number `N`, 0 to %d", card.Standard.MaxNumber))
	f.StringVar(&o.paper, "paper", "letter", "letter or a4")
	f.StringVar(&o.out, "out", "", "the `FILE` to write: .pdf, .svg or .png")
	f.StringVar(&o.lang, "lang", string(board.English), "language of the text: "+strings.Join(board.Langs(), " or "))
	return c
}

func noWords(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usageError{fmt.Sprintf("%s takes no %q", c.CommandPath(), args[0]), c.CommandPath() + " --help shows examples"}
	}
	return nil
}

var papers = map[string]board.Paper{"letter": board.Letter, "a4": board.A4}

// options checks everything that can be wrong before a file is begun.
func (o makeOptions) options() (board.Options, error) {
	b := board.Options{Number: o.number, Paper: papers[strings.ToLower(o.paper)], Lang: board.Lang(strings.ToLower(o.lang))}
	switch {
	case o.number == -1:
		return b, usageError{"--number is missing", fmt.Sprintf("give each crew a number from 0 to %d: --number N", card.Standard.MaxNumber)}
	case o.number < 0 || o.number > card.Standard.MaxNumber:
		return b, usageError{fmt.Sprintf("--number %d: 0 to %d are legal", o.number, card.Standard.MaxNumber), ""}
	case b.Paper.W == 0:
		return b, usageError{fmt.Sprintf("--paper %s: letter and a4 are legal", o.paper), ""}
	case !slices.Contains(board.Langs(), string(b.Lang)):
		return b, usageError{fmt.Sprintf("--lang %s: legal are %s", o.lang, strings.Join(board.Langs(), ", ")), ""}
	case o.out == "":
		return b, usageError{"--out is missing", "name the file to write: --out card.pdf, .svg or .png"}
	}
	return b, nil
}

func runMake(t *terminal, o makeOptions) error {
	b, err := o.options()
	if err != nil {
		return err
	}
	var draw func(w io.Writer, page int) error
	ext := filepath.Ext(o.out)
	switch strings.ToLower(ext) {
	case ".pdf":
		return writeDrawing(t, o.out, func(w io.Writer) error { return board.WritePDF(w, b) })
	case ".svg":
		draw = func(w io.Writer, page int) error { return board.WriteSVG(w, b, page) }
	case ".png":
		draw = func(w io.Writer, page int) error { return board.WritePNG(w, b, page) }
	default:
		return usageError{fmt.Sprintf("--out %s: a file named .pdf, .svg or .png is needed", o.out), ""}
	}
	if err := writeDrawing(t, o.out, func(w io.Writer) error { return draw(w, board.CardPage) }); err != nil {
		return err
	}
	return writeDrawing(t, strings.TrimSuffix(o.out, ext)+"-2"+ext, func(w io.Writer) error { return draw(w, board.HowToPage) })
}

func writeDrawing(t *terminal, path string, draw func(io.Writer) error) error {
	var b bytes.Buffer
	if err := draw(&b); err != nil {
		return failure{fmt.Sprintf("cannot draw %s: %v", path, err), ""}
	}
	if err := writeWhole(path, b.Bytes()); err != nil {
		return err
	}
	t.say("%s", path)
	return nil
}

type proveOptions struct {
	print.Reading
	out  string
	json bool
}

func newCardProve(t *terminal) *cobra.Command {
	o := proveOptions{}
	c := &cobra.Command{
		Use:   "prove --number N --length LENGTH --out FILE",
		Short: "record what a steel rule says of a printed card",
		Long: `prove records the measured long side of a card's board (10 squares, 10 in or
254.0 mm nominally; the bar below the board is as long) in a card file, for
inspect --card. Cards of other numbers in the file stay as they are.

Measure from outer edge to outer edge with a steel rule, after mounting. Give
the short side too (7 in, 177.8 mm): printers stretch one direction more than
the other. The thickness of the mounted card helps where the card lies next to
the heads.

A length is taken as read to its last digit, but not finer than 1/64 in unless
--resolution says so: a side that is exactly 10 in long is 10.00in, since 10in
would be read to a whole inch. A print more than 3 % off, or uneven by more than
1 %, is refused: print it again.`,
		Example: `  coursegauge card prove --number 3 --length 10.02in --short 7.01in --thickness 3mm --out cards.json
  coursegauge card prove --number 5 --length 10.00in --short 7.00in --out cards.json   # an exact print
  coursegauge card prove --number 4 --length 254.5mm --out cards.json
  coursegauge inspect lot-7/ --schedule lot-7.yaml --out lot-7-report --card cards.json`,
		Args: noWords,
		RunE: func(_ *cobra.Command, _ []string) error { return runProve(t, o) },
	}
	f := c.Flags()
	f.IntVar(&o.Number, "number", -1, fmt.Sprintf("the card's number `N`, 0 to %d", card.Standard.MaxNumber))
	f.StringVar(&o.Long, "length", "", "the measured long side of the board, a `LENGTH` such as 10.00in, 10-1/32in or 254.5mm")
	f.StringVar(&o.Short, "short", "", "the measured short side of the board, a `LENGTH`")
	f.StringVar(&o.Thickness, "thickness", "", "how thick the mounted card is, a `LENGTH`")
	f.StringVar(&o.Resolution, "resolution", "", "to what `LENGTH` the rule was read, such as 0.2mm with a vernier")
	f.StringVar(&o.out, "out", "", "the card `FILE`; a card of the same number in it is replaced")
	f.BoolVar(&o.json, "json", false, "print the result as one JSON object")
	return c
}

func runProve(t *terminal, o proveOptions) error {
	switch {
	case o.Number == -1:
		return usageError{"--number is missing", "the number stands on the card: --number N"}
	case o.Long == "":
		return usageError{"--length is missing", "measure the long side of the board and give it with its unit: --length 10.02in, or 10.00in when it is exact"}
	case o.out == "":
		return usageError{"--out is missing", "name the card file: --out cards.json"}
	}
	if err := wantKind("--out", o.out, dataKinds); err != nil {
		return err
	}
	c, err := print.New(o.Reading)
	if err != nil {
		return usageError{oneLine(err.Error()), ""}
	}
	if r := c.Wrong(); r != nil {
		return usageError{r.Detail, r.Advice}
	}
	f, err := cardsSoFar(o.out)
	if err != nil {
		return err
	}
	data, err := f.With(c).Encode()
	if err != nil {
		return failure{fmt.Sprintf("cannot encode %s: %v", o.out, err), ""}
	}
	if err := writeWhole(o.out, data); err != nil {
		return err
	}
	if o.json {
		return t.json(c)
	}
	p := c.Print()
	t.say("card %d: printed at %.2f %% along, %.2f %% across, ± %.2f %% (standard uncertainty)", c.Number, 100*p.ScaleX, 100*p.ScaleY, 100*p.U)
	if c.Short == nil {
		t.say("the short side was not measured; it is taken to be as true as the long one")
	}
	t.say("card file: %s", o.out)
	return nil
}

// cardsSoFar is the card file as it is, empty when there is none yet.
func cardsSoFar(path string) (print.File, error) {
	data, err := readFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return print.File{}, nil
	case err != nil:
		return print.File{}, usageError{fmt.Sprintf("--out %s: %v", path, err), ""}
	}
	f, err := print.Parse(data)
	if err != nil {
		return print.File{}, usageError{fmt.Sprintf("--out %s: %s", path, oneLine(err.Error())), "name a card file, or one that is not there yet"}
	}
	return f, nil
}

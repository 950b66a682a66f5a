package board

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"math"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Pages of the drawing.
const (
	CardPage  = 1
	HowToPage = 2
)

// DPI of the PNG, which says so in the file.
const DPI = 300

func (o Options) sheet(c vg.Canvas, encode func(string) string) *sheet {
	return &sheet{c: c, w: o.Paper.W, h: o.Paper.H, encode: encode}
}

func (o Options) size() (w, h vg.Length) {
	return vg.Length(o.Paper.W) * vg.Millimeter, vg.Length(o.Paper.H) * vg.Millimeter
}

func (s *sheet) page(o Options, page int) error {
	s.fill(s.box(nil, 0, 0, s.w, s.h), white)
	switch page {
	case CardPage:
		return s.drawCard(o)
	case HowToPage:
		s.drawHowTo(o)
		return nil
	}
	return fmt.Errorf("page %d of the card: 1 and 2 are legal", page)
}

// WritePDF writes both pages.
func WritePDF(w io.Writer, o Options) error {
	if err := o.check(); err != nil {
		return err
	}
	c := vgpdf.New(o.size())
	s := o.sheet(c, latin)
	for page := CardPage; page <= HowToPage; page++ {
		if page > CardPage {
			c.NextPage()
		}
		if err := s.page(o, page); err != nil {
			return err
		}
	}
	_, err := c.WriteTo(w)
	return err
}

// WriteSVG writes one page.
func WriteSVG(w io.Writer, o Options, page int) error {
	if err := o.check(); err != nil {
		return err
	}
	wide, high := o.size()
	c := vgsvg.NewWith(vgsvg.UseWH(wide, high), vgsvg.EmbedFonts(true))
	if err := o.sheet(c, plain).page(o, page); err != nil {
		return err
	}
	_, err := c.WriteTo(w)
	return err
}

func plain(s string) string { return s }

// WritePNG writes one page at DPI.
func WritePNG(w io.Writer, o Options, page int) error {
	if err := o.check(); err != nil {
		return err
	}
	wide, high := o.size()
	c := vgimg.NewWith(vgimg.UseWH(wide, high), vgimg.UseDPI(DPI), vgimg.UseBackgroundColor(white))
	if err := o.sheet(c, plain).page(o, page); err != nil {
		return err
	}
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return err
	}
	_, err := w.Write(sized(b.Bytes()))
	return err
}

// sized adds the chunk that says how large the picture is (PNG, third edition,
// section 11.3.4.3): without it programs print it at a size of their own.
func sized(png []byte) []byte {
	const header = 8 + 25 // signature and IHDR
	perMetre := uint32(math.Round(DPI / .0254))
	chunk := []byte{0, 0, 0, 9, 'p', 'H', 'Y', 's'}
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = append(chunk, 1)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	return append(append(append([]byte(nil), png[:header]...), chunk...), png[header:]...)
}

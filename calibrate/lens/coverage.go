package lens

import (
	"fmt"
	"html"
	"strings"
)

// coverWide is the width of the coverage picture, in its own units.
const coverWide = 960.0

// CoverageSVG draws the frame with every corner that was used, one shape of
// mark for each view in turn, the cells without any corner hatched, and the
// residuals many times as long as they are.
func (l *Learned) CoverageSVG() []byte {
	p := &l.Profile
	k := coverWide / float64(p.Width)
	high := float64(p.Height) * k
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="-20 -60 %.0f %.0f" font-family="sans-serif" font-size="18">`+"\n", coverWide+40, high+140)
	title := fmt.Sprintf("%s, %d x %d px", p.Device, p.Width, p.Height)
	fmt.Fprintf(&b, "<title>%s</title>\n", html.EscapeString(title))
	b.WriteString(`<defs><pattern id="none" width="12" height="12" patternUnits="userSpaceOnUse"><path d="M0 12L12 0" stroke="#b3541e"/></pattern></defs>` + "\n")
	fmt.Fprintf(&b, `<rect x="-20" y="-60" width="%.0f" height="%.0f" fill="#fff"/><text x="0" y="-22">%s</text>`+"\n", coverWide+40, high+140, html.EscapeString(title))
	cw, ch := coverWide/columns, high/rows
	for r, row := range l.Cells {
		for c, n := range row {
			fill := "none"
			if n == 0 {
				fill = "url(#none)"
			}
			fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s" stroke="#ccc"/>`+"\n", float64(c)*cw, float64(r)*ch, cw, ch, fill)
		}
	}
	fmt.Fprintf(&b, `<rect width="%.1f" height="%.1f" fill="none" stroke="#000" stroke-width="2"/>`+"\n", coverWide, high)
	for i, s := range l.Used {
		l.drawView(&b, i, s.View, k)
	}
	fmt.Fprintf(&b, `<text x="0" y="%.0f">%d views, corners in %.0f %% of the frame, up to %.0f %% of the way to its corners; hatched: none.</text>`+"\n", high+30, len(l.Used), 100*l.Covered(), 100*l.Reach)
	fmt.Fprintf(&b, `<text x="0" y="%.0f">Lines: what is left over at a corner, %d times as long; RMS %.2f px.</text>`+"\n", high+56, stretched, p.RMS)
	b.WriteString("</svg>\n")
	return []byte(b.String())
}

// marks are told apart without colour.
var marks = []string{"M-3 0H3M0 -3V3", "M-3 -3L3 3M-3 3L3 -3", "M-3 -3H3V3H-3Z", "M0 -4L4 0L0 4L-4 0Z", "M0 -4L4 3H-4Z", "M-3 0A3 3 0 1 1 3 0A3 3 0 1 1 -3 0Z"}

const stretched = 300 // of the residuals

func (l *Learned) drawView(b *strings.Builder, i int, v View, k float64) {
	fmt.Fprintf(b, `<g fill="none" stroke="hsl(%d 70%% 32%%)"><title>%s, %.2f px</title>`+"\n", i*137%360, html.EscapeString(v.Name), l.Fit.Views[i])
	for _, q := range v.Points {
		x, y := (q.U+.5)*k, (q.V+.5)*k
		u, w := l.Fit.project(l.Fit.Poses[i].inCamera(q.X, q.Y))
		fmt.Fprintf(b, `<path transform="translate(%.1f %.1f)" d="%sM0 0L%.1f %.1f"/>`+"\n", x, y, marks[i%len(marks)], stretched*k*(q.U-u), stretched*k*(q.V-w))
	}
	b.WriteString("</g>\n")
}

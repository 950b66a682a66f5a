package main

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"html/template"
	"image"
	"math"
	"path/filepath"
	"strings"

	"coursegauge/report/inspection"
	"coursegauge/report/ledger"
	"coursegauge/report/page"
	"coursegauge/report/sheet"
	"coursegauge/vision/photo"

	"gocv.io/x/gocv"
)

// pictures cuts pictures for sheets out of the photos of inspections. A photo
// that is not where it was, or is another one now, gives the reduced picture of
// the report; without that there is none.
type pictures struct {
	moved   string // the folder of the photos, "" where the reports know it
	folders map[string]*pictureFolder
}

// pictureFolder is what inspect wrote into a folder.
type pictureFolder struct {
	report   []byte
	document inspection.Document
}

func newPictures(moved string) *pictures { return &pictures{moved, map[string]*pictureFolder{}} }

func (p *pictures) folder(path string) *pictureFolder {
	f := p.folders[path]
	if f == nil {
		f = &pictureFolder{}
		// What cannot be read is as if it were not there: a sheet without
		// pictures still tells its figures.
		f.report, _ = readFile(filepath.Join(path, "report.html"))
		f.document, _ = inspection.ReadFile(filepath.Join(path, "inspection.json"))
		p.folders[path] = f
	}
	return f
}

// cutout is the size of a picture: so many radii of the nail to each side, and
// so many pixels wide.
const (
	cutoutAround = 18.0
	cutoutWide   = 480
)

// of cuts out what lies about a case.
func (p *pictures) of(c sheet.Case) sheet.Picture {
	f := p.folder(c.Job.Folder)
	m, factor := p.mat(c.Job.Folder, *c.Photo, f)
	defer m.Close()
	if m.Empty() {
		return sheet.Picture{}
	}
	r := c.Size
	if c.Head < 0 {
		r *= 3 // a piece is larger than a nail
	}
	half := int(math.Round(cutoutAround * r * factor))
	x, y := int(c.Px[0]*factor), int(c.Px[1]*factor)
	window := image.Rect(x-half, y-half*3/4, x+half, y+half*3/4).Intersect(image.Rect(0, 0, m.Cols(), m.Rows()))
	if window.Dx() < 8 || window.Dy() < 8 {
		return sheet.Picture{}
	}
	part := m.Region(window)
	defer part.Close()
	href, err := embeddedAs("href", part, cutoutWide)
	if err != nil {
		return sheet.Picture{}
	}
	k := math.Min(1, cutoutWide/float64(max(window.Dx(), window.Dy())))
	at := func(q inspection.XY) (float64, float64) {
		return (q[0]*factor - float64(window.Min.X)) * k, (q[1]*factor - float64(window.Min.Y)) * k
	}
	out := sheet.Picture{Href: href, Width: int(float64(window.Dx()) * k), Height: int(float64(window.Dy()) * k), R: 2 * c.Size * factor * k}
	out.X, out.Y = at(c.Px)
	if c.Head < 0 {
		out.R = 0
	}
	for _, q := range f.document.Photos {
		if q.SHA256 == c.Photo.SHA256 && q.Course != nil {
			out.Butt = pathOf(q.Course.ButtPx[:], at)
			for _, line := range q.Course.BandPx {
				out.Band += pathOf(line, at)
			}
		}
	}
	return out
}

func pathOf(line []inspection.XY, at func(inspection.XY) (float64, float64)) string {
	var b strings.Builder
	for i, q := range line {
		x, y := at(q)
		fmt.Fprintf(&b, "%c%.1f %.1f", "ML"[min(i, 1)], x, y)
	}
	return b.String()
}

// mat is the photo of a case, and how many of its pixels one of the ledger's
// is; an empty picture where there is none.
func (p *pictures) mat(folder string, of ledger.Photo, f *pictureFolder) (gocv.Mat, float64) {
	data, err := readFile(filepath.Join(photosOf(folder, f.report, p.moved), filepath.FromSlash(of.File)))
	if sum := sha256.Sum256(data); err == nil && hex.EncodeToString(sum[:]) == of.SHA256 {
		if pic, err := photo.Decode(data, photo.Options{}); err == nil {
			defer pic.Close()
			if m, err := pic.BGR(); err == nil {
				return m, 1
			}
		}
	}
	src := string(page.PictureIn(f.report, of.File))
	_, text, ok := strings.Cut(strings.TrimSuffix(src, `"`), "base64,")
	data, err = base64.StdEncoding.DecodeString(text)
	if !ok || err != nil {
		return gocv.NewMat(), 1
	}
	m, err := gocv.IMDecode(data, gocv.IMReadColor)
	if err != nil {
		return gocv.NewMat(), 1
	}
	for _, q := range f.document.Photos {
		if q.SHA256 == of.SHA256 && q.Image != nil {
			return m, float64(m.Cols()) / float64(q.Image.Width)
		}
	}
	m.Close()
	return gocv.NewMat(), 1
}

// whole gives the reduced pictures of whole photos of a job.
func (p *pictures) whole(j ledger.Job) func(ledger.Photo) sheet.Whole {
	f := p.folder(j.Folder)
	return func(of ledger.Photo) sheet.Whole {
		for _, q := range f.document.Photos {
			if q.SHA256 == of.SHA256 && q.Image != nil {
				return sheet.Whole{Src: page.PictureIn(f.report, q.File), Width: q.Image.Width, Height: q.Image.Height}
			}
		}
		return sheet.Whole{Src: page.PictureIn(f.report, of.File)}
	}
}

// embeddedAs is embedded for another attribute than src.
func embeddedAs(attribute string, m gocv.Mat, side int) (template.HTMLAttr, error) {
	src, err := embedded(m, side)
	return template.HTMLAttr(attribute + strings.TrimPrefix(string(src), "src")), err
}

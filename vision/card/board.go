// Package card finds the printed card in a photo: a ChArUco board, whose
// markers name it and whose chessboard corners are located to a few hundredths
// of a pixel.
//
// Frames. Picture: pixels of the picture that was given, x right, y down,
// (0, 0) the centre of the first pixel. Card: millimetres, the origin at the
// outer corner of the board that is upper left as printed, x right along the
// long side, y down the page.
package card

import "fmt"

// Dict5x5x1000 is OpenCV's number of the predefined dictionary of 1000 markers
// with 5x5 modules.
const Dict5x5x1000 = 7

const lastDictionary = 20 // the last predefined dictionary of OpenCV 4.6

// Board describes a family of ChArUco boards that differ in their numbers only.
// The upper left square is black and white squares carry markers, row by row,
// which is OpenCV's layout for an odd number of rows.
type Board struct {
	Cols, Rows  int     // squares along x and along y
	SquareMM    float64 // side of a square
	MarkerRatio float64 // side of a marker, border included, over the side of a square
	Dictionary  int     // OpenCV's number of a predefined dictionary
	IDStep      int     // board N carries the marker ids from IDStep*N on
	MaxNumber   int     // boards are numbered 0 to MaxNumber
}

// Standard is the project's card: 10 x 7 squares of one inch.
var Standard = Board{Cols: 10, Rows: 7, SquareMM: 25.4, MarkerRatio: .75, Dictionary: Dict5x5x1000, IDStep: 35, MaxNumber: 27}

// Markers is the number of markers on one board.
func (b Board) Markers() int { return b.Cols * b.Rows / 2 }

// Corners is the number of inner corners of the chessboard.
func (b Board) Corners() int { return (b.Cols - 1) * (b.Rows - 1) }

// Black tells whether the square in column x and row y is black.
func (b Board) Black(x, y int) bool { return (x+y)%2 == 0 }

// MarkerSquare gives column and row of the square that carries the i-th marker
// of a board, 0 <= i < Markers().
func (b Board) MarkerSquare(i int) (x, y int) {
	for s, seen := 0, 0; s < b.Cols*b.Rows; s++ {
		if b.Black(s%b.Cols, s/b.Cols) {
			continue
		}
		if seen == i {
			return s % b.Cols, s / b.Cols
		}
		seen++
	}
	panic("card: no such marker on the board")
}

// corner is the place of inner corner id on the board, in mm: row by row from
// the upper left.
func (b Board) corner(id int) [2]float64 {
	across := b.Cols - 1
	return [2]float64{float64(id%across+1) * b.SquareMM, float64(id/across+1) * b.SquareMM}
}

// markerCorners are the corners of the i-th marker in mm, clockwise from the
// upper left as printed, the order in which markers are detected.
func (b Board) markerCorners(i int) [4][2]float64 {
	x, y := b.MarkerSquare(i)
	rim := (1 - b.MarkerRatio) / 2
	x0, y0 := (float64(x)+rim)*b.SquareMM, (float64(y)+rim)*b.SquareMM
	x1, y1 := x0+b.MarkerRatio*b.SquareMM, y0+b.MarkerRatio*b.SquareMM
	return [4][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// outline are the outer corners of the board in mm, clockwise from the origin.
func (b Board) outline() [4][2]float64 {
	w, h := float64(b.Cols)*b.SquareMM, float64(b.Rows)*b.SquareMM
	return [4][2]float64{{0, 0}, {w, 0}, {w, h}, {0, h}}
}

func (b Board) check() error {
	switch {
	case b.Cols < 3 || b.Rows < 3 || b.Rows%2 == 0:
		return fmt.Errorf("card board: %d x %d squares: at least 3 x 3 and an odd number of rows are needed", b.Cols, b.Rows)
	case !(b.SquareMM > 0) || !(b.MarkerRatio > 0 && b.MarkerRatio < 1):
		return fmt.Errorf("card board: square %g mm, marker ratio %g: legal are over 0, and between 0 and 1", b.SquareMM, b.MarkerRatio)
	case b.MaxNumber < 0 || b.IDStep < b.Markers():
		return fmt.Errorf("card board: %d ids a card: at least %d are needed, one a marker", b.IDStep, b.Markers())
	}
	return checkDictionary(b.Dictionary)
}

func checkDictionary(d int) error {
	if d < 0 || d > lastDictionary {
		return fmt.Errorf("card board: dictionary %d: legal are 0 to %d, the predefined ones of OpenCV", d, lastDictionary)
	}
	return nil
}

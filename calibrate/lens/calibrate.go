// Package lens learns a camera's lens from photos of the card and keeps what
// it learned in profile files.
//
// In: the corners of the card in several photos of one phone and lens, in
// pixels of the picture as it is stored (before the EXIF orientation turns it,
// (0, 0) the centre of the first pixel), with their places on the card in mm.
// Out: focal length, principal point and distortion (Brown 1971) with their
// covariance, and for each photo whether it was used, and why not.
package lens

import (
	"errors"
	"fmt"
	"image"
	"math"

	"coursegauge/vision/plane"

	"gocv.io/x/gocv"
)

// Intrinsics is a pinhole camera: focal lengths F along x and F times Aspect
// along y, principal point, radial (K1, K2, K3) and tangential (P1, P2) terms.
type Intrinsics struct{ F, Aspect, Cx, Cy, K1, K2, P1, P2, K3 float64 }

// Model says which parameters are estimated beside F, Cx, Cy, K1 and K2; the
// others stay at Aspect 1 and 0.
type Model struct {
	Aspect, Tangential, K3 bool
	Bend                   bool // each view's board may be bent: paper on a panel never is quite flat
}

// phone is the model that profiles use: square pixels, and a card that lies on
// shingles.
var phone = Model{Tangential: true, Bend: true}

// Point is a corner: its place on the board (mm from its middle, x along the
// long side, y up the page) and in the picture (px), with its standard uncertainty.
type Point struct{ X, Y, U, V, Sigma float64 }

// View is the board in one picture.
type View struct {
	Name   string
	Points []Point
}

// Pose is where the board lies in the camera frame, and how it is bent.
type Pose struct {
	R plane.Rot
	T plane.Vec
	// Bend are sagittas in mm: along the long side at 140 mm from the middle,
	// the twist at the corners, along the short side at 90 mm.
	Bend [3]float64
}

// The order of the parameters in Fit.Cov.
const (
	paramF = iota
	paramAspect
	paramCx
	paramCy
	paramK1
	paramK2
	paramP1
	paramP2
	paramK3
	nShared
)

// Fit is a calibrated camera.
type Fit struct {
	Intrinsics
	Cov   [nShared][nShared]float64 // of the parameters in the order above; 0 for those not estimated
	RMS   float64                   // px: root mean square distance of the corners from where the fit puts them
	Poses []Pose                    // one a view
	Views []float64                 // RMS of each view, px
}

// minPoints a view must have: a pose and the lens ask for some more than four.
const minPoints = 8

// Calibrate estimates the camera from two or more views. OpenCV's calibration
// (Zhang 2000) gives the start; the adjustment after it weighs the corners by
// their uncertainty, lets each board be bent a little, and gives the covariance
// of the parameters. startF (px) is the focal length of the file, or 0: with it
// the start does not depend on tilted views.
func calibrate(views []View, width, height int, m Model, startF float64) (*Fit, error) {
	if len(views) < 2 {
		return nil, fmt.Errorf("camera: %d views; at least 2 are needed", len(views))
	}
	for _, v := range views {
		if len(v.Points) < minPoints {
			return nil, fmt.Errorf("camera: view %s has %d corners; at least %d are needed", v.Name, len(v.Points), minPoints)
		}
	}
	s, err := start(views, width, height, m, startF)
	if err != nil {
		return nil, err
	}
	return (&adjustment{views: views, model: m, state: s}).solve()
}

// start is OpenCV's calibration, in single precision and for flat boards.
func start(views []View, width, height int, m Model, startF float64) (state, error) {
	object, picture := make([][]gocv.Point3f, len(views)), make([][]gocv.Point2f, len(views))
	for i, v := range views {
		for _, p := range v.Points {
			object[i] = append(object[i], gocv.Point3f{X: float32(p.X), Y: float32(-p.Y)}) // y down, so that z points into the board
			picture[i] = append(picture[i], gocv.Point2f{X: float32(p.U), Y: float32(p.V)})
		}
	}
	ov, pv := gocv.NewPoints3fVectorFromPoints(object), gocv.NewPoints2fVectorFromPoints(picture)
	defer ov.Close()
	defer pv.Close()
	flags := gocv.CalibFlagPinhole(0)
	if !m.Aspect {
		flags |= gocv.CalibFlagPinholeFixAspectRatio
	}
	if !m.Tangential {
		flags |= gocv.CalibFlagPinholeZeroTangentDist
	}
	if !m.K3 {
		flags |= gocv.CalibFlagPinholeFixK3
	}
	K := gocv.Eye(3, 3, gocv.MatTypeCV64F)
	D := gocv.Zeros(1, 5, gocv.MatTypeCV64F)
	R, T := gocv.NewMat(), gocv.NewMat()
	for _, x := range []*gocv.Mat{&K, &D, &R, &T} {
		defer x.Close()
	}
	if startF > 0 {
		flags |= gocv.CalibFlagPinholeUseIntrinsicGuess
		K.SetDoubleAt(0, 0, startF)
		K.SetDoubleAt(1, 1, startF)
		K.SetDoubleAt(0, 2, float64(width-1)/2)
		K.SetDoubleAt(1, 2, float64(height-1)/2)
	}
	rms := gocv.CalibrateCamera(ov, pv, image.Pt(width, height), &K, &D, &R, &T, gocv.CalibFlag(flags))
	var s state
	s.in = Intrinsics{F: K.GetDoubleAt(0, 0), Aspect: K.GetDoubleAt(1, 1) / K.GetDoubleAt(0, 0), Cx: K.GetDoubleAt(0, 2), Cy: K.GetDoubleAt(1, 2),
		K1: D.GetDoubleAt(0, 0), K2: D.GetDoubleAt(0, 1), P1: D.GetDoubleAt(0, 2), P2: D.GetDoubleAt(0, 3), K3: D.GetDoubleAt(0, 4)}
	if rms == 0 || !(s.in.F > 0) || math.IsInf(s.in.F, 0) || R.Rows()*R.Cols() != len(views) {
		return s, errors.New("camera: no lens explains these views; take photos of the card from different sides, some tilted by 30 degrees")
	}
	flip := plane.Rot{1, 0, 0, 0, -1, 0, 0, 0, -1}
	for i := range views {
		r, t := vec(R, i), vec(T, i)
		turn := plane.Rodrigues(r)
		s.poses = append(s.poses, Pose{R: flip.Then(&turn), T: t})
	}
	return s, nil
}

func vec(m gocv.Mat, i int) plane.Vec {
	v := m.GetVecdAt(i, 0)
	if m.Rows() == 1 {
		v = m.GetVecdAt(0, i)
	}
	return plane.Vec{v[0], v[1], v[2]}
}

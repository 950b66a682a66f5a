package photo

import "gocv.io/x/gocv"

// flip codes of OpenCV.
const (
	flipUpDown    = 0
	flipLeftRight = 1
	flipBoth      = -1
)

// upright turns a stored picture as EXIF's orientation says (CIPA DC-008, tag
// 0x0112: where row 0 and column 0 of the stored picture are to be seen). It
// takes mat over: what it returns is to be closed instead.
func upright(mat gocv.Mat, orientation int) (gocv.Mat, error) {
	if orientation <= 1 || orientation > 8 {
		return mat, nil
	}
	defer mat.Close() //nolint:errcheck // replaced by the turned copy
	turned := gocv.NewMat()
	var err error
	switch orientation {
	case 2: // top, right
		err = gocv.Flip(mat, &turned, flipLeftRight)
	case 3: // bottom, right
		err = gocv.Rotate(mat, &turned, gocv.Rotate180Clockwise)
	case 4: // bottom, left
		err = gocv.Flip(mat, &turned, flipUpDown)
	case 5: // left, top
		err = gocv.Transpose(mat, &turned)
	case 6: // right, top
		err = gocv.Rotate(mat, &turned, gocv.Rotate90Clockwise)
	case 7: // right, bottom
		if err = gocv.Transpose(mat, &turned); err == nil {
			err = gocv.Flip(turned, &turned, flipBoth)
		}
	case 8: // left, bottom
		err = gocv.Rotate(mat, &turned, gocv.Rotate90CounterClockwise)
	}
	if err != nil {
		_ = turned.Close() // the first error tells more
		return gocv.Mat{}, err
	}
	return turned, nil
}

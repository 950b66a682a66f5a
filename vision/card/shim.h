// The few calls of OpenCV's aruco module that the package needs, as plain C.
// No C++ exception crosses: every call that can fail returns -1 and leaves one
// line of text in why.
#pragma once
#ifdef __cplusplus
extern "C" {
#endif

void card_threads(int n);

// Finds markers in an 8-bit picture with one channel, by adaptive thresholds
// over windows of so many pixels, 10 px apart. ids takes up to capacity ids,
// corners 8 numbers a marker (x, y of the four corners, pixel centres at
// integers). Returns the number of markers.
int card_detect(const void *gray, int dictionary, int least_window, int most_window, double min_perimeter,
                int capacity, int *ids, float *corners, char *why, int why_size);

// Homography from n points to n points (x, y pairs). threshold > 0: RANSAC with
// that many pixels, keep[i] tells the inliers; 0: least squares over all.
// Returns 0, or 1 when there is none.
int card_homography(const double *from, const double *to, int n, double threshold, double *h,
                    unsigned char *keep, char *why, int why_size);

// Writes the modules of one marker without its border, row by row, 1 for white.
// Returns the number of modules a side.
int card_bits(int dictionary, int id, unsigned char *bits, int capacity, char *why, int why_size);

#ifdef __cplusplus
}
#endif

#include "shim.h"

#include <cstdio>
#include <new>
#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

namespace {

// Runs f; an exception becomes -1 and its text.
template <typename F> int guarded(char *why, int why_size, F f) {
    try {
        return f();
    } catch (const cv::Exception &e) {
        std::snprintf(why, why_size, "%s", e.err.c_str());
    } catch (const std::bad_alloc &) {
        std::snprintf(why, why_size, "out of memory");
    } catch (const std::exception &e) {
        std::snprintf(why, why_size, "%s", e.what());
    } catch (...) {
        std::snprintf(why, why_size, "unknown failure in OpenCV");
    }
    return -1;
}

cv::Ptr<cv::aruco::Dictionary> dictionary_of(int id) {
    return cv::aruco::getPredefinedDictionary(static_cast<cv::aruco::PREDEFINED_DICTIONARY_NAME>(id));
}

cv::Ptr<cv::aruco::DetectorParameters> parameters(int least_window, int most_window, double min_perimeter) {
    auto p = cv::aruco::DetectorParameters::create();
    p->adaptiveThreshWinSizeMin = least_window;
    p->adaptiveThreshWinSizeMax = most_window;
    p->adaptiveThreshWinSizeStep = 10;
    p->minMarkerPerimeterRate = min_perimeter;
    p->cornerRefinementMethod = cv::aruco::CORNER_REFINE_NONE;
    return p;
}

} // namespace

void card_threads(int n) { cv::setNumThreads(n); }

int card_detect(const void *gray, int dictionary, int least_window, int most_window, double min_perimeter,
                int capacity, int *ids, float *corners, char *why, int why_size) {
    return guarded(why, why_size, [&]() -> int {
        const cv::Mat &picture = *static_cast<const cv::Mat *>(gray);
        std::vector<int> found;
        std::vector<std::vector<cv::Point2f>> quads;
        cv::aruco::detectMarkers(picture, dictionary_of(dictionary), quads, found,
                                 parameters(least_window, most_window, min_perimeter));

        const int n = std::min<int>(capacity, int(found.size()));
        for (int i = 0; i < n; i++) {
            ids[i] = found[i];
            for (int k = 0; k < 4; k++) {
                corners[8 * i + 2 * k] = quads[i][k].x;
                corners[8 * i + 2 * k + 1] = quads[i][k].y;
            }
        }
        return n;
    });
}

int card_homography(const double *from, const double *to, int n, double threshold, double *h,
                    unsigned char *keep, char *why, int why_size) {
    return guarded(why, why_size, [&]() -> int {
        const cv::Mat a(n, 1, CV_64FC2, const_cast<double *>(from));
        const cv::Mat b(n, 1, CV_64FC2, const_cast<double *>(to));
        cv::Mat mask;
        const cv::Mat found = cv::findHomography(a, b, threshold > 0 ? cv::RANSAC : 0, threshold, mask);
        if (found.empty()) return 1;
        for (int i = 0; i < 9; i++) h[i] = found.at<double>(i / 3, i % 3);
        for (int i = 0; i < n; i++) keep[i] = mask.empty() ? 1 : mask.at<unsigned char>(i);
        return 0;
    });
}

int card_bits(int dictionary, int id, unsigned char *bits, int capacity, char *why, int why_size) {
    return guarded(why, why_size, [&]() -> int {
        const auto d = dictionary_of(dictionary);
        const int side = d->markerSize;
        if (id < 0 || id >= d->bytesList.rows || side * side > capacity) {
            std::snprintf(why, why_size, "marker %d is not in the dictionary: 0 to %d", id, d->bytesList.rows - 1);
            return -1;
        }
        const cv::Mat b = cv::aruco::Dictionary::getBitsFromByteList(d->bytesList.rowRange(id, id + 1), side);
        for (int i = 0; i < side * side; i++) bits[i] = b.at<unsigned char>(i / side, i % side);
        return side;
    });
}

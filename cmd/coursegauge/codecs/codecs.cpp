// The functions of OpenCV's imgcodecs that gocv calls, each handed on to the
// library, which is loaded with the first call. They have the names and the
// types of the library's own header, so that the compiler holds them to it.
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include <dlfcn.h>

#include <string>
#include <vector>

namespace {

// library is opened once (C++11 makes that safe) and stays open.
void *library() {
	static void *const handle = [] {
		const std::string name = "libopencv_imgcodecs.so." + std::to_string(CV_VERSION_MAJOR) +
			(CV_VERSION_MINOR < 10 ? "0" : "") + std::to_string(CV_VERSION_MINOR);
		return dlopen(name.c_str(), RTLD_LAZY | RTLD_LOCAL);
	}();
	return handle;
}

// real finds a function by its mangled name, and throws as OpenCV does.
template <typename F> F *real(const char *name) {
	void *const handle = library();
	void *const found = handle ? dlsym(handle, name) : nullptr;
	if (!found) {
		const char *const why = dlerror();
		CV_Error(cv::Error::StsError, std::string("cannot load the picture formats of OpenCV: ") + (why ? why : name));
	}
	return reinterpret_cast<F *>(found);
}

} // namespace

namespace cv {

Mat imread(const String &name, int flags) {
	static auto *const f = real<decltype(imread)>("_ZN2cv6imreadERKNSt7__cxx1112basic_stringIcSt11char_traitsIcESaIcEEEi");
	return f(name, flags);
}

bool imreadmulti(const String &name, std::vector<Mat> &mats, int flags) {
	static auto *const f = real<bool(const String &, std::vector<Mat> &, int)>(
		"_ZN2cv11imreadmultiERKNSt7__cxx1112basic_stringIcSt11char_traitsIcESaIcEEERSt6vectorINS_3MatESaIS9_EEi");
	return f(name, mats, flags);
}

bool imreadmulti(const String &name, std::vector<Mat> &mats, int start, int count, int flags) {
	static auto *const f = real<bool(const String &, std::vector<Mat> &, int, int, int)>(
		"_ZN2cv11imreadmultiERKNSt7__cxx1112basic_stringIcSt11char_traitsIcESaIcEEERSt6vectorINS_3MatESaIS9_EEiii");
	return f(name, mats, start, count, flags);
}

bool imwrite(const String &name, InputArray picture, const std::vector<int> &parameters) {
	static auto *const f = real<decltype(imwrite)>(
		"_ZN2cv7imwriteERKNSt7__cxx1112basic_stringIcSt11char_traitsIcESaIcEEERKNS_11_InputArrayERKSt6vectorIiSaIiEE");
	return f(name, picture, parameters);
}

Mat imdecode(InputArray bytes, int flags) {
	static auto *const f = real<Mat(InputArray, int)>("_ZN2cv8imdecodeERKNS_11_InputArrayEi");
	return f(bytes, flags);
}

Mat imdecode(InputArray bytes, int flags, Mat *to) {
	static auto *const f = real<Mat(InputArray, int, Mat *)>("_ZN2cv8imdecodeERKNS_11_InputArrayEiPNS_3MatE");
	return f(bytes, flags, to);
}

bool imencode(const String &kind, InputArray picture, std::vector<uchar> &bytes, const std::vector<int> &parameters) {
	static auto *const f = real<decltype(imencode)>(
		"_ZN2cv8imencodeERKNSt7__cxx1112basic_stringIcSt11char_traitsIcESaIcEEERKNS_11_InputArrayERSt6vectorIhSaIhEERKSB_IiSaIiEE");
	return f(kind, picture, bytes, parameters);
}

} // namespace cv

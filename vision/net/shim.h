// A small network read by OpenCV and run by oneDNN, as plain C. No C++ exception
// crosses: every call that can fail leaves one line of text in why.
#pragma once
#ifdef __cplusplus
extern "C" {
#endif

#define NET_MAX_OUTPUTS 16

typedef struct {
    int channels, height, width;
    const float *data; // belongs to the net, valid until the next call
} net_tensor;

// Reads an ONNX file from memory; 0 when it cannot.
void *net_load(const void *onnx, int size, char *why, int why_size);
void net_close(void *net);

// Runs the net on one input of channels x height x width numbers. Returns the
// number of outputs, or -1.
int net_forward(void *net, const float *in, int channels, int height, int width, net_tensor *out, char *why,
                int why_size);

// The same on rows of three bytes a pixel, stride bytes from one row to the next:
// each of three planes takes its byte less mean, times scale; with blank it takes
// 0 where all three bytes are 0. Each of further fills one plane more.
int net_forward_bgr(void *net, const unsigned char *bgr, int height, int width, int stride, float mean, float scale,
                    int blank, const double *further, int count, net_tensor *out, char *why, int why_size);

#ifdef __cplusplus
}
#endif

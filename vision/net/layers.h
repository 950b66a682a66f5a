// The layers of a network as its ONNX file has them.
#pragma once
#include <oneapi/dnnl/dnnl.hpp>
#include <opencv2/core.hpp>
#include <vector>

using dims = dnnl::memory::dims;

// One layer, which takes the values of others: value 0 is the input, value i what
// layer i-1 gives.
struct Layer {
    enum Kind { convolution, deconvolution, inner_product, elementwise, sum } kind;
    std::vector<int> inputs;
    cv::Mat weights, bias;
    dims strides, dilations, before, after; // of convolutions; a dilation of 0 leaves nothing out
    dnnl::algorithm function;               // of elementwise
    bool relu = false;                      // of what it gives
};

struct Layers {
    std::vector<Layer> list;
    std::vector<int> outputs; // values
};

// Reads an ONNX file; throws std::exception for what it cannot, or does not know.
Layers read_layers(const char *onnx, size_t size);

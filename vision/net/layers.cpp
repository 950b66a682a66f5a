#include "layers.h"

#include <map>
#include <opencv2/core/utils/logger.hpp>
#include <opencv2/dnn.hpp>
#include <opencv2/dnn/all_layers.hpp>
#include <stdexcept>

namespace {

// The values behind the layers of OpenCV's reading, by its numbers.
class Reading {
  public:
    explicit Reading(cv::dnn::Net &net) : net(net) { value[0] = 0; }

    Layers run() {
        for (const auto &name : net.getLayerNames())
            for (int k : inputs_of(net.getLayerId(name))) users[k]++;
        for (const auto &name : net.getLayerNames()) add(net.getLayerId(name));
        for (int id : net.getUnconnectedOutLayers()) out.outputs.push_back(value.at(id));
        return std::move(out);
    }

  private:
    cv::dnn::Net &net;
    std::map<int, int> value, users;
    Layers out;

    std::vector<int> inputs_of(int id) {
        std::vector<int> ids;
        for (const auto &l : net.getLayerInputs(id)) ids.push_back(net.getLayerId(l->name));
        return ids;
    }

    void add(int id) {
        const cv::Ptr<cv::dnn::Layer> l = net.getLayer(id);
        const std::vector<int> ids = inputs_of(id);
        if (ids.empty()) throw std::runtime_error("a layer of kind " + l->type + " takes nothing");
        std::vector<int> in;
        for (int k : ids) in.push_back(value.at(k));
        if (l->type == "Identity" || l->type == "Flatten") { // the next one takes any shape
            value[id] = in[0];
            return;
        }
        if (l->type == "ReLU" && in[0] > 0 && users[ids[0]] == 1 && out.list[in[0] - 1].kind != Layer::elementwise &&
            out.list[in[0] - 1].kind != Layer::sum) {
            out.list[in[0] - 1].relu = true;
            value[id] = in[0];
            return;
        }
        out.list.push_back(made(*l, in));
        value[id] = int(out.list.size());
    }

    static Layer made(const cv::dnn::Layer &l, const std::vector<int> &in) {
        Layer m;
        m.inputs = in;
        if (l.type == "ReLU" || l.type == "Sigmoid") {
            m.kind = Layer::elementwise;
            m.function = l.type == "ReLU" ? dnnl::algorithm::eltwise_relu : dnnl::algorithm::eltwise_logistic;
        } else if (l.type == "Eltwise" && in.size() == 2) { // its kind is not told; networks here add
            m.kind = Layer::sum;
        } else if (l.type == "Convolution" || l.type == "Deconvolution" || l.type == "InnerProduct") {
            m.kind = l.type == "Convolution" ? Layer::convolution : l.type == "Deconvolution" ? Layer::deconvolution : Layer::inner_product;
            if (l.blobs.size() != 2) throw std::runtime_error("a layer of kind " + l.type + " has no weights, or no bias");
            m.weights = l.blobs[0].clone(), m.bias = l.blobs[1].clone();
            if (const auto *c = dynamic_cast<const cv::dnn::BaseConvolutionLayer *>(&l)) {
                m.strides.assign(c->strides.begin(), c->strides.end());
                for (size_t d : c->dilations) m.dilations.push_back(int(d) - 1);
                m.before.assign(c->pads_begin.begin(), c->pads_begin.end());
                m.after.assign(c->pads_end.begin(), c->pads_end.end());
            }
        } else {
            throw std::runtime_error("a layer of kind " + l.type + " is not known here");
        }
        return m;
    }
};

} // namespace

Layers read_layers(const char *onnx, size_t size) {
    // The reason comes back as an error; the same text on stderr is noise.
    cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
    cv::dnn::Net net = cv::dnn::readNetFromONNX(onnx, size);
    if (net.empty()) throw std::runtime_error("the file holds no layers");
    Layers l = Reading(net).run();
    if (l.list.empty()) throw std::runtime_error("the file holds no layers");
    return l;
}

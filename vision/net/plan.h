// A network made ready for one size of input.
#pragma once
#include "layers.h"

#include <functional>
#include <memory>
#include <unordered_map>

// Memory that plans work in, one after the other; it only grows.
class Arena {
  public:
    float *at(size_t offset) { return reinterpret_cast<float *>(room.get() + offset); }
    void hold(size_t bytes);

  private:
    struct Free {
        void operator()(char *p) const { std::free(p); }
    };
    std::unique_ptr<char, Free> room;
    size_t size = 0;
};

class Plan {
  public:
    Plan(const Layers &l, const dims &input, Arena &arena);

    // Where the input belongs, plane by plane.
    float *input() { return data(0); }
    void run();

    struct Output {
        dims size;
        const float *data;
    };
    std::vector<Output> outputs() const;

  private:
    struct Value {
        dnnl::memory::desc desc;
        int born, dies; // steps
        int within = -1; // lies in another value
        size_t offset = 0;
        dnnl::memory memory{};
    };
    struct Step {
        dnnl::primitive primitive;
        std::function<void()> own; // instead of a primitive
        std::unordered_map<int, int> values;
        std::unordered_map<int, dnnl::memory> constants;
        std::unordered_map<int, dnnl::memory> all{};
    };
    std::vector<Value> values;
    std::vector<Step> steps;
    std::vector<int> given; // values behind the layers' values, as they come
    std::vector<int> told;  // values that are the outputs

    int add(const dnnl::memory::desc &d);
    int as(int value, const dnnl::memory::desc &d);
    void step(const dnnl::primitive &p, const dnnl::memory::desc &scratchpad, std::unordered_map<int, int> v,
              std::unordered_map<int, dnnl::memory> c = {});
    int layer(const Layer &l);
    int weighted(const Layer &l);
    int padded(int value, const dnnl::memory::desc &d, const dims &before);
    int spread(const Layer &l);
    void own(std::function<void()> f, std::unordered_map<int, int> v);
    float *data(int value) const { return static_cast<float *>(values[value].memory.get_data_handle()); }
    void place(Arena &arena);
};

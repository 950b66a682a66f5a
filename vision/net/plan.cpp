#include "plan.h"

#include <algorithm>
#include <cstring>
#include <new>
#include <stdexcept>

using dnnl::algorithm;
using dnnl::memory;
using dnnl::prop_kind;
using tag = dnnl::memory::format_tag;

namespace {

const dnnl::engine &engine() {
    static const dnnl::engine e = [] {
        // Wider instructions are no faster here and take ten times as long to make
        // ready, and what one computer finds should be what others find.
        dnnl_set_max_cpu_isa(dnnl_cpu_isa_avx2);
        dnnl_set_primitive_cache_capacity(512);
        return dnnl::engine(dnnl::engine::kind::cpu, 0);
    }();
    return e;
}

memory::desc desc(const dims &d, tag t) { return memory::desc(d, memory::data_type::f32, t); }
memory::desc any(const dims &d) { return desc(d, tag::any); }

tag plain(size_t n) {
    switch (n) {
    case 1: return tag::a;
    case 2: return tag::ab;
    case 4: return tag::abcd;
    }
    throw std::runtime_error("a layer of other than 1, 2 or 4 dimensions");
}

dims size_of(const memory::desc &d) {
#if DNNL_VERSION_MAJOR >= 3
    return d.get_dims();
#else
    return d.dims();
#endif
}

// The library's own scratchpads belong to the thread in which a step was made,
// and calls from Go come in any.
dnnl::primitive_attr with_scratchpad() {
    dnnl::primitive_attr a;
    a.set_scratchpad_mode(dnnl::scratchpad_mode::user);
    return a;
}

// What is done with what a layer gives.
dnnl::primitive_attr after(const Layer &l) {
    dnnl::post_ops ops;
    dnnl::primitive_attr a = with_scratchpad();
#if DNNL_VERSION_MAJOR >= 3
    if (l.relu) ops.append_eltwise(algorithm::eltwise_relu, 0, 0);
#else
    if (l.relu) ops.append_eltwise(1, algorithm::eltwise_relu, 0, 0);
#endif
    a.set_post_ops(ops);
    return a;
}

// Version 3 of the library does without the descriptors of operations.
template <typename P, typename... Args> typename P::primitive_desc described(const dnnl::primitive_attr &a, const Args &...args) {
#if DNNL_VERSION_MAJOR >= 3
    return typename P::primitive_desc(engine(), args..., a);
#else
    return typename P::primitive_desc(typename P::desc(args...), a, engine());
#endif
}

dims kernel(const Layer &l) { return dims(l.weights.size.p + 2, l.weights.size.p + l.weights.dims); }

// The size of what a convolution gives.
dims convolved(const Layer &l, const dims &in) {
    const bool back = l.kind == Layer::deconvolution;
    if (in.size() != 4 || l.weights.dims != 4 || l.strides.size() != 2 || l.before.size() != 2)
        throw std::runtime_error("a convolution of other than two dimensions");
    dims out{1, l.weights.size[back ? 1 : 0], 0, 0};
    const dims k = kernel(l);
    for (int i = 0; i < 2; i++) {
        const auto reach = (k[i] - 1) * (l.dilations[i] + 1) + 1, pads = l.before[i] + l.after[i];
        out[2 + i] = back ? (in[2 + i] - 1) * l.strides[i] + reach - pads : (in[2 + i] + pads - reach) / l.strides[i] + 1;
        if (out[2 + i] < 1) throw std::runtime_error("the input is too small");
    }
    if (in[1] != l.weights.size[back ? 0 : 1]) throw std::runtime_error("the input has another number of planes than the network takes");
    return out;
}

dnnl::memory constant(const cv::Mat &m, const memory::desc &have, const memory::desc &want) {
    if (have.get_size() != m.total() * sizeof(float)) throw std::runtime_error("the weights of a layer have another size than its input asks for");
    dnnl::memory from(have, engine(), m.data);
    dnnl::memory to(want, engine());
    dnnl::stream s(engine());
    dnnl::reorder(from, to).execute(s, from, to);
    s.wait();
    return to;
}

} // namespace

void Arena::hold(size_t bytes) {
    if (bytes <= size) return;
    room.reset();
    size = 0;
    room.reset(static_cast<char *>(std::aligned_alloc(64, bytes)));
    if (!room) throw std::bad_alloc();
    size = bytes;
}

Plan::Plan(const Layers &l, const dims &input, Arena &arena) {
    given.push_back(add(desc(input, tag::nchw)));
    for (const Layer &k : l.list) given.push_back(layer(k));
    for (int v : l.outputs) {
        const dims d = size_of(values[given[v]].desc);
        told.push_back(as(given[v], desc(d, plain(d.size()))));
    }
    for (int v : told) values[v].dies = int(steps.size());
    place(arena);
}

// add is a new value, which the next step gives.
int Plan::add(const memory::desc &d) {
    values.push_back({d, int(steps.size()), int(steps.size())});
    return int(values.size()) - 1;
}

// as is the same value laid out in another way.
int Plan::as(int value, const memory::desc &d) {
    if (values[value].desc == d) return value;
    const memory::desc from = values[value].desc;
    const int to = add(d);
    const dnnl::reorder::primitive_desc pd(engine(), from, engine(), d, with_scratchpad());
    step(dnnl::reorder(pd), pd.scratchpad_desc(), {{DNNL_ARG_FROM, value}, {DNNL_ARG_TO, to}});
    return to;
}

void Plan::step(const dnnl::primitive &p, const memory::desc &scratchpad, std::unordered_map<int, int> v,
                std::unordered_map<int, dnnl::memory> c) {
    if (scratchpad.get_size() > 0) v[DNNL_ARG_SCRATCHPAD] = add(scratchpad);
    for (const auto &k : v) values[k.second].dies = int(steps.size());
    steps.push_back({p, nullptr, std::move(v), std::move(c)});
}

// own is a step that no primitive does.
void Plan::own(std::function<void()> f, std::unordered_map<int, int> v) {
    for (const auto &k : v) values[k.second].dies = int(steps.size());
    steps.push_back({{}, std::move(f), std::move(v), {}});
}

int Plan::layer(const Layer &l) {
    const int in = given[l.inputs[0]];
    const memory::desc d = values[in].desc;
    if (l.kind == Layer::elementwise) {
#if DNNL_VERSION_MAJOR >= 3
        const dnnl::eltwise_forward::primitive_desc pd(engine(), prop_kind::forward_inference, l.function, d, d, 0.f, 0.f,
                                                       with_scratchpad());
#else
        const dnnl::eltwise_forward::primitive_desc pd({prop_kind::forward_inference, l.function, d, 0.f, 0.f}, with_scratchpad(),
                                                       engine());
#endif
        const int out = add(d);
        step(dnnl::eltwise_forward(pd), pd.scratchpad_desc(), {{DNNL_ARG_SRC, in}, {DNNL_ARG_DST, out}});
        return out;
    }
    if (l.kind == Layer::sum) {
        const int other = as(given[l.inputs[1]], d);
        const auto pd = described<dnnl::binary>(with_scratchpad(), algorithm::binary_add, d, d, d);
        const int out = add(d);
        step(dnnl::binary(pd), pd.scratchpad_desc(), {{DNNL_ARG_SRC_0, in}, {DNNL_ARG_SRC_1, other}, {DNNL_ARG_DST, out}});
        return out;
    }
    const int out = l.kind == Layer::deconvolution ? spread(l) : -1;
    return out >= 0 ? out : weighted(l);
}

// padded is the same value with zeros before and behind it. The library's quick
// convolutions add no more than three.
int Plan::padded(int value, const memory::desc &d, const dims &before) {
    const dims size = size_of(values[value].desc);
    const int whole = add(d);
    own([this, whole, n = d.get_size()] { std::memset(data(whole), 0, n); }, {{0, whole}});
    const int inner = add(d.submemory_desc(size, {0, 0, before[0], before[1]}));
    values[inner].within = whole;
    const dnnl::reorder::primitive_desc pd(engine(), values[value].desc, engine(), values[inner].desc, with_scratchpad());
    step(dnnl::reorder(pd), pd.scratchpad_desc(), {{DNNL_ARG_FROM, value}, {DNNL_ARG_TO, inner}});
    return whole;
}

// spread is a deconvolution of which every number of the input makes a block of
// its own: a convolution of single pixels, whose planes are then put side by side.
// It is five times as fast; -1 where it is another.
int Plan::spread(const Layer &l) {
    const dims from = size_of(values[given[l.inputs[0]]].desc), to = convolved(l, from), k = kernel(l);
    const dims none{0, 0};
    const int planes = int(to[1]), many = planes * int(k[0] * k[1]);
    if (k != l.strides || l.before != none || l.after != none || planes % 8 != 0) return -1;
    Layer single;
    single.kind = Layer::convolution, single.inputs = l.inputs, single.relu = l.relu;
    single.strides = {1, 1}, single.dilations = single.before = single.after = none;
    const int size[] = {many, int(from[1]), 1, 1};
    single.weights = cv::Mat(4, size, CV_32F), single.bias = cv::Mat(1, many, CV_32F);
    for (int m = 0; m < many; m++) {
        single.bias.at<float>(m) = l.bias.ptr<float>()[m % planes];
        for (int i = 0; i < from[1]; i++) single.weights.ptr<float>(m)[i] = l.weights.ptr<float>(i, m % planes)[m / planes];
    }
    const int blocks = weighted(single);
    if (values[blocks].desc != desc(size_of(values[blocks].desc), tag::aBcd8b)) return -1; // what was added is run in vain
    const int out = add(desc(to, tag::aBcd8b));
    own([this, blocks, out, from, k, planes] {
        const float *p = data(blocks);
        const auto h = from[2], w = from[3];
        for (dnnl_dim_t part = 0; part < k[0] * k[1]; part++)
            for (dnnl_dim_t plane = 0; plane < planes / 8; plane++)
                for (dnnl_dim_t y = 0; y < h; y++) {
                    float *q = data(out) + 8 * ((plane * h * k[0] + y * k[0] + part / k[1]) * w * k[1] + part % k[1]);
                    for (dnnl_dim_t x = 0; x < w; x++, p += 8, q += 8 * k[1]) std::memcpy(q, p, 8 * sizeof(float));
                }
    }, {{0, blocks}, {1, out}});
    return out;
}

// weighted is a layer with weights: each kind takes them and its input laid out
// as it likes them best.
int Plan::weighted(const Layer &l) {
    const int in = given[l.inputs[0]];
    dims from = size_of(values[in].desc), before = l.before, behind = l.after;
    dims to, w;
    memory::desc have, liked, gives, takes, scratchpad;
    dnnl::primitive run;
    const auto use = [&](const auto &pd) {
        takes = pd.src_desc(), liked = pd.weights_desc(), gives = pd.dst_desc(), scratchpad = pd.scratchpad_desc();
    };
    const memory::desc bias = desc({dnnl_dim_t(l.bias.total())}, tag::a);
    const auto inference = prop_kind::forward_inference;
    if (l.kind == Layer::inner_product) {
        to = {1, l.weights.size[0]}, w = from, w[0] = l.weights.size[0];
        have = desc(w, plain(w.size()));
        const auto pd = described<dnnl::inner_product_forward>(after(l), inference, any(from), any(w), bias, any(to));
        use(pd), run = dnnl::inner_product_forward(pd);
    } else {
        to = convolved(l, from), w = kernel(l);
        w.insert(w.begin(), {to[1], from[1]});
        if (l.kind == Layer::convolution && *std::max_element(before.begin(), before.end()) > 3) {
            for (int i = 0; i < 2; i++) from[2 + i] += before[i] + behind[i];
            before = behind = {0, 0};
        }
        if (l.kind == Layer::convolution) {
            have = desc(w, tag::oihw);
            const auto pd = described<dnnl::convolution_forward>(after(l), inference, algorithm::convolution_direct, any(from), any(w),
                                                                 bias, any(to), l.strides, l.dilations, before, behind);
            use(pd), run = dnnl::convolution_forward(pd);
        } else {
            have = desc(w, tag::iohw); // as ONNX has them
            const auto pd = described<dnnl::deconvolution_forward>(after(l), inference, algorithm::deconvolution_direct, any(from), any(w),
                                                                   bias, any(to), l.strides, l.dilations, before, behind);
            use(pd), run = dnnl::deconvolution_forward(pd);
        }
    }
    const int laid = from == size_of(values[in].desc) ? as(in, takes) : padded(in, takes, l.before), out = add(gives);
    step(run, scratchpad, {{DNNL_ARG_SRC, laid}, {DNNL_ARG_DST, out}},
         {{DNNL_ARG_WEIGHTS, constant(l.weights, have, liked)}, {DNNL_ARG_BIAS, constant(l.bias, bias, bias)}});
    return out;
}

// place finds room for all values, those that never live together in the same.
void Plan::place(Arena &arena) {
    size_t most = 0;
    for (size_t i = 0; i < values.size(); i++) {
        Value &v = values[i];
        if (v.within >= 0) {
            v.offset = values[v.within].offset;
            continue;
        }
        const size_t bytes = (v.desc.get_size() + 63) / 64 * 64;
        std::vector<std::pair<size_t, size_t>> taken;
        for (size_t k = 0; k < i; k++) {
            const Value &o = values[k];
            if (o.within < 0 && o.born <= v.dies && v.born <= o.dies) taken.emplace_back(o.offset, o.offset + (o.desc.get_size() + 63) / 64 * 64);
        }
        std::sort(taken.begin(), taken.end());
        for (const auto &t : taken)
            if (v.offset + bytes > t.first) v.offset = std::max(v.offset, t.second);
        most = std::max(most, v.offset + bytes);
    }
    arena.hold(most);
    for (Value &v : values) v.memory = dnnl::memory(v.desc, engine(), arena.at(v.offset));
    for (Step &s : steps) {
        s.all = s.constants;
        for (const auto &k : s.values) s.all[k.first] = values[k.second].memory;
    }
}

void Plan::run() {
    dnnl::stream s(engine());
    for (const Step &k : steps) {
        if (k.own)
            k.own();
        else
            k.primitive.execute(s, k.all);
    }
    s.wait();
}

std::vector<Plan::Output> Plan::outputs() const {
    std::vector<Output> out;
    for (int v : told) out.push_back({size_of(values[v].desc), static_cast<const float *>(values[v].memory.get_data_handle())});
    return out;
}

#include "stitch/compose/max_flow.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <queue>
#include <random>

using namespace plateloom::stitch;

namespace {

struct Link {
    int a, b;
    float forth, back;
};

struct Graph {
    std::vector<float> from_source, to_sink;
    std::vector<Link> links;

    [[nodiscard]] int nodes() const { return int(from_source.size()); }

    [[nodiscard]] double cut(const std::vector<bool>& with_source) const {
        double cost = 0;
        for (size_t i = 0; i < from_source.size(); ++i)
            cost += double(with_source[i] ? to_sink[i] : from_source[i]);
        for (const auto& link : links) {
            if (with_source[size_t(link.a)] && !with_source[size_t(link.b)])
                cost += double(link.forth);
            if (!with_source[size_t(link.a)] && with_source[size_t(link.b)])
                cost += double(link.back);
        }
        return cost;
    }

    [[nodiscard]] double solvedCut() const {
        MaxFlow flow(nodes(), int(links.size()));
        for (int i = 0; i < nodes(); ++i)
            flow.addTerminals(i, from_source[size_t(i)], to_sink[size_t(i)]);
        for (const auto& link : links) flow.addLink(link.a, link.b, link.forth, link.back);
        flow.solve();
        std::vector<bool> with_source;
        for (int i = 0; i < nodes(); ++i) with_source.push_back(flow.withSource(i));
        return cut(with_source);
    }

    [[nodiscard]] double leastCutByTrial() const {
        double least = 1e30;
        for (unsigned bits = 0; bits < (1u << nodes()); ++bits) {
            std::vector<bool> with_source;
            for (int i = 0; i < nodes(); ++i) with_source.push_back(((bits >> i) & 1) != 0);
            least = std::min(least, cut(with_source));
        }
        return least;
    }

    // Edmonds and Karp: breadth-first augmenting paths over a full matrix; slow and plain.
    [[nodiscard]] double leastCutPlainly() const {
        const int n = nodes(), s = n, t = n + 1;
        std::vector<std::vector<double>> left(size_t(n) + 2, std::vector<double>(size_t(n) + 2));
        for (int i = 0; i < n; ++i) {
            left[size_t(s)][size_t(i)] = double(from_source[size_t(i)]);
            left[size_t(i)][size_t(t)] = double(to_sink[size_t(i)]);
        }
        for (const auto& l : links) {
            left[size_t(l.a)][size_t(l.b)] += double(l.forth);
            left[size_t(l.b)][size_t(l.a)] += double(l.back);
        }
        double flow = 0;
        for (;;) {
            std::vector<int> from(size_t(n) + 2, -1);
            std::queue<int> queue({s});
            from[size_t(s)] = s;
            while (!queue.empty() && from[size_t(t)] < 0) {
                const int at = queue.front();
                queue.pop();
                for (int i = 0; i < n + 2; ++i)
                    if (from[size_t(i)] < 0 && left[size_t(at)][size_t(i)] > 1e-9) {
                        from[size_t(i)] = at;
                        queue.push(i);
                    }
            }
            if (from[size_t(t)] < 0) return flow;
            double least = 1e30;
            for (int i = t; i != s; i = from[size_t(i)])
                least = std::min(least, left[size_t(from[size_t(i)])][size_t(i)]);
            for (int i = t; i != s; i = from[size_t(i)]) {
                left[size_t(from[size_t(i)])][size_t(i)] -= least;
                left[size_t(i)][size_t(from[size_t(i)])] += least;
            }
            flow += least;
        }
    }
};

// Capacities are small whole numbers: sums of them are exact in float.
Graph randomGraph(int nodes, int links, std::mt19937& dice) {
    std::uniform_int_distribution<int> node(0, nodes - 1), capacity(0, 12);
    Graph graph;
    for (int i = 0; i < nodes; ++i) {
        graph.from_source.push_back(float(capacity(dice)));
        graph.to_sink.push_back(float(capacity(dice)));
    }
    while (int(graph.links.size()) < links) {
        const int a = node(dice), b = node(dice);
        if (a != b) graph.links.push_back({a, b, float(capacity(dice)), float(capacity(dice))});
    }
    return graph;
}

}  // namespace

TEST_CASE("The cut is the least of all that there are") {
    std::mt19937 dice(5);
    for (int i = 0; i < 300; ++i) {
        const Graph graph = randomGraph(2 + i % 9, 3 + i % 20, dice);
        CHECK(graph.solvedCut() == graph.leastCutByTrial());
    }
}

TEST_CASE("On larger graphs and on grids the cut equals that of plain augmenting paths") {
    std::mt19937 dice(6);
    for (int i = 0; i < 12; ++i) {
        const Graph graph = randomGraph(60, 150, dice);
        CHECK(graph.solvedCut() == Approx(graph.leastCutPlainly()));
    }
    constexpr int kSide = 11;
    for (int i = 0; i < 6; ++i) {
        Graph grid = randomGraph(kSide * kSide, 0, dice);
        std::uniform_int_distribution<int> capacity(0, 9);
        for (int y = 0; y < kSide; ++y)
            for (int x = 0; x < kSide; ++x)
                for (const int step : {1, kSide}) {
                    if (step == 1 && x + 1 == kSide) continue;
                    if (step == kSide && y + 1 == kSide) continue;
                    const int at = y * kSide + x;
                    grid.links.push_back(
                        {at, at + step, float(capacity(dice)), float(capacity(dice))});
                }
        CHECK(grid.solvedCut() == Approx(grid.leastCutPlainly()));
    }
}

TEST_CASE("A node that nothing pulls stays with the source") {
    MaxFlow flow(2);
    flow.addTerminals(1, 0, 1);
    flow.solve();
    CHECK(flow.withSource(0));
    CHECK_FALSE(flow.withSource(1));
}

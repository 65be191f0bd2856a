// The least cut between two terminals of a sparse graph: which nodes stay with the source.
//
// Boykov and Kolmogorov, An Experimental Comparison of Min-Cut/Max-Flow Algorithms for Energy
// Minimization in Vision, PAMI 26(9), 2004: two search trees grow from the terminals until they
// meet, the path is filled, and the nodes that it cut off look for new parents. Fast on grids of
// short links, which is what seams are.
//
//     MaxFlow graph(2);
//     graph.addTerminals(0, 5, 1);     // what it costs to give node 0 to the sink, to the source
//     graph.addTerminals(1, 0, 3);
//     graph.addLink(0, 1, 2, 2);       // what it costs to part them
//     graph.solve();
//     graph.withSource(0);             // true
#pragma once

#include <cstddef>
#include <cstdint>
#include <deque>
#include <vector>

namespace plateloom::stitch {

class MaxFlow {
public:
    explicit MaxFlow(int nodes, int links_expected = 0);

    /// Adds capacity from the source to the node (paid when it ends with the sink) and from the
    /// node to the sink (paid when it ends with the source). May be called again; both may be
    /// negative: only their difference decides.
    void addTerminals(int node, float from_source, float to_sink);
    /// Adds capacity from `a` to `b` (paid when a ends with the source and b with the sink) and
    /// back. Neither may be negative.
    void addLink(int a, int b, float forth, float back);

    /// Returns the flow along links and terminals beyond what terminals of one node cancel.
    double solve();
    /// After solve. A node that neither terminal reaches stays with the source.
    [[nodiscard]] bool withSource(int node) const {
        return nodes_[size_t(node)].tree != Tree::sink;
    }

private:
    enum class Tree : uint8_t { none, source, sink };
    static constexpr int kNoArc = -1, kTerminal = -2, kOrphan = -3;

    struct Node {
        int first_arc = kNoArc;
        int parent_arc = kNoArc;  // arc from this node to its parent, or one of the above
        int stamp = 0;            // when `distance` was last known to be right
        int distance = 0;         // to the terminal, along the tree
        float terminal = 0;       // > 0: left from the source; < 0: left to the sink
        Tree tree = Tree::none;
        bool active = false;
    };
    // Arcs come in pairs: `arc ^ 1` is the same link the other way.
    struct Arc {
        int head = 0, next = 0;
        float left = 0;
    };

    void activate(int node);
    int nextActive();
    // Capacity left toward the sink along the tree's own direction: from parent to child in the
    // source's tree, from child to parent in the sink's.
    [[nodiscard]] float leftToChild(Tree tree, int arc_to_child) const {
        return tree == Tree::source ? arcs_[size_t(arc_to_child)].left
                                    : arcs_[size_t(arc_to_child ^ 1)].left;
    }
    int grow(int node);
    void augment(int arc);
    float bottleneck(int arc) const;
    void push(int arc, float flow);
    void orphan(int node);
    void adopt(int node);
    int distanceToTerminal(int node);
    void disown(int node);

    std::vector<Node> nodes_;
    std::vector<Arc> arcs_;
    std::deque<int> active_, orphans_;
    int time_ = 0;
    double flow_ = 0;
};

}  // namespace plateloom::stitch

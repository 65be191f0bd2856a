#include "stitch/compose/max_flow.h"

#include <algorithm>
#include <cassert>
#include <limits>

namespace plateloom::stitch {

namespace {
constexpr int kUnreachable = std::numeric_limits<int>::max();
}

MaxFlow::MaxFlow(int nodes, int links_expected) : nodes_(size_t(nodes)) {
    arcs_.reserve(2 * size_t(links_expected));
}

void MaxFlow::addTerminals(int node, float from_source, float to_sink) {
    nodes_[size_t(node)].terminal += from_source - to_sink;
}

void MaxFlow::addLink(int a, int b, float forth, float back) {
    assert(a != b && forth >= 0 && back >= 0);
    const int arc = int(arcs_.size());
    arcs_.push_back({b, nodes_[size_t(a)].first_arc, forth});
    arcs_.push_back({a, nodes_[size_t(b)].first_arc, back});
    nodes_[size_t(a)].first_arc = arc;
    nodes_[size_t(b)].first_arc = arc + 1;
}

void MaxFlow::activate(int node) {
    if (nodes_[size_t(node)].active) return;
    nodes_[size_t(node)].active = true;
    active_.push_back(node);
}

int MaxFlow::nextActive() {
    while (!active_.empty()) {
        const int node = active_.front();
        if (nodes_[size_t(node)].tree != Tree::none) return node;
        nodes_[size_t(node)].active = false;
        active_.pop_front();
    }
    return -1;
}

// Takes free neighbours into the node's tree. Returns an arc from the source's tree into the sink's
// as soon as there is one with capacity left, else kNoArc: the node has nothing more to do.
int MaxFlow::grow(int index) {
    const Node& node = nodes_[size_t(index)];
    for (int a = node.first_arc; a != kNoArc; a = arcs_[size_t(a)].next) {
        if (leftToChild(node.tree, a) <= 0) continue;
        const int head = arcs_[size_t(a)].head;
        Node& other = nodes_[size_t(head)];
        if (other.tree == Tree::none) {
            other.tree = node.tree;
            other.parent_arc = a ^ 1;
            other.stamp = node.stamp;
            other.distance = node.distance + 1;
            activate(head);
        } else if (other.tree != node.tree) {
            return node.tree == Tree::source ? a : a ^ 1;
        } else if (other.stamp <= node.stamp && other.distance > node.distance + 1) {
            // A nearer parent keeps the trees shallow.
            other.parent_arc = a ^ 1;
            other.stamp = node.stamp;
            other.distance = node.distance + 1;
        }
    }
    return kNoArc;
}

float MaxFlow::bottleneck(int arc) const {
    float least = arcs_[size_t(arc)].left;
    int at = arcs_[size_t(arc ^ 1)].head;
    for (int up; (up = nodes_[size_t(at)].parent_arc) != kTerminal; at = arcs_[size_t(up)].head)
        least = std::min(least, arcs_[size_t(up ^ 1)].left);
    least = std::min(least, nodes_[size_t(at)].terminal);
    at = arcs_[size_t(arc)].head;
    for (int up; (up = nodes_[size_t(at)].parent_arc) != kTerminal; at = arcs_[size_t(up)].head)
        least = std::min(least, arcs_[size_t(up)].left);
    return std::min(least, -nodes_[size_t(at)].terminal);
}

void MaxFlow::orphan(int node) {
    nodes_[size_t(node)].parent_arc = kOrphan;
    orphans_.push_front(node);
}

// Fills the path through `arc`; nodes whose link to their parent is full become orphans.
void MaxFlow::push(int arc, float flow) {
    arcs_[size_t(arc)].left -= flow;
    arcs_[size_t(arc ^ 1)].left += flow;
    int at = arcs_[size_t(arc ^ 1)].head;
    for (int up; (up = nodes_[size_t(at)].parent_arc) != kTerminal;) {
        const int parent = arcs_[size_t(up)].head;
        arcs_[size_t(up)].left += flow;
        arcs_[size_t(up ^ 1)].left -= flow;
        if (arcs_[size_t(up ^ 1)].left <= 0) orphan(at);
        at = parent;
    }
    nodes_[size_t(at)].terminal -= flow;
    if (nodes_[size_t(at)].terminal <= 0) orphan(at);
    at = arcs_[size_t(arc)].head;
    for (int up; (up = nodes_[size_t(at)].parent_arc) != kTerminal;) {
        const int parent = arcs_[size_t(up)].head;
        arcs_[size_t(up)].left -= flow;
        arcs_[size_t(up ^ 1)].left += flow;
        if (arcs_[size_t(up)].left <= 0) orphan(at);
        at = parent;
    }
    nodes_[size_t(at)].terminal += flow;
    if (nodes_[size_t(at)].terminal >= 0) orphan(at);
}

void MaxFlow::augment(int arc) {
    const float flow = bottleneck(arc);
    push(arc, flow);
    flow_ += double(flow);
    while (!orphans_.empty()) {
        const int node = orphans_.front();
        orphans_.pop_front();
        adopt(node);
    }
}

// Steps along the tree from a node to its terminal; kUnreachable if an orphan is on the way. Marks
// the way so that it needn't be walked again at this time.
int MaxFlow::distanceToTerminal(int index) {
    int steps = 0;
    for (int at = index;;) {
        const Node& node = nodes_[size_t(at)];
        if (node.stamp == time_) {
            steps += node.distance;
            break;
        }
        if (node.parent_arc == kTerminal) {
            ++steps;
            nodes_[size_t(at)].stamp = time_;
            nodes_[size_t(at)].distance = 1;
            break;
        }
        if (node.parent_arc == kOrphan || node.parent_arc == kNoArc) return kUnreachable;
        ++steps;
        at = arcs_[size_t(node.parent_arc)].head;
    }
    int distance = steps;
    for (int at = index; nodes_[size_t(at)].stamp != time_;) {
        Node& node = nodes_[size_t(at)];
        node.stamp = time_;
        node.distance = distance--;
        at = arcs_[size_t(node.parent_arc)].head;
    }
    return steps;
}

// An orphan takes the nearest parent of its own tree that still hangs on the terminal; failing that
// it leaves the tree and its children become orphans.
void MaxFlow::adopt(int index) {
    Node& node = nodes_[size_t(index)];
    int nearest = kUnreachable, parent = kNoArc;
    for (int a = node.first_arc; a != kNoArc; a = arcs_[size_t(a)].next) {
        if (leftToChild(node.tree, a ^ 1) <= 0) continue;
        const int head = arcs_[size_t(a)].head;
        if (nodes_[size_t(head)].tree != node.tree) continue;
        const int distance = distanceToTerminal(head);
        if (distance < nearest) {
            nearest = distance;
            parent = a;
        }
    }
    if (parent == kNoArc) {
        disown(index);
        return;
    }
    node.parent_arc = parent;
    node.stamp = time_;
    node.distance = nearest + 1;
}

void MaxFlow::disown(int index) {
    Node& node = nodes_[size_t(index)];
    for (int a = node.first_arc; a != kNoArc; a = arcs_[size_t(a)].next) {
        const int head = arcs_[size_t(a)].head;
        const Node& other = nodes_[size_t(head)];
        if (other.tree != node.tree) continue;
        if (leftToChild(node.tree, a ^ 1) > 0) activate(head);
        if (other.parent_arc >= 0 && arcs_[size_t(other.parent_arc)].head == index) {
            nodes_[size_t(head)].parent_arc = kOrphan;
            orphans_.push_back(head);
        }
    }
    node.tree = Tree::none;
    node.parent_arc = kNoArc;
}

double MaxFlow::solve() {
    for (size_t i = 0; i < nodes_.size(); ++i) {
        Node& node = nodes_[i];
        if (node.terminal == 0) continue;
        node.tree = node.terminal > 0 ? Tree::source : Tree::sink;
        node.parent_arc = kTerminal;
        node.distance = 1;
        activate(int(i));
    }
    for (int index; (index = nextActive()) >= 0;) {
        const int arc = grow(index);
        if (arc == kNoArc) {
            nodes_[size_t(index)].active = false;
            active_.pop_front();
            continue;
        }
        ++time_;
        augment(arc);
    }
    return flow_;
}

}  // namespace plateloom::stitch

// Runs every fuzz target on its seeds, and on mutations of them that are the same in each run: a
// short check without libFuzzer.
//   fuzz_replay SEEDS [COUNT]         COUNT mutations of each target (default 10000)
//   fuzz_replay SEEDS NAME FILE...    one target on files, such as one that libFuzzer has left
#include <fcntl.h>
#include <signal.h>

#include <algorithm>
#include <chrono>
#include <iostream>
#include <iterator>
#include <map>
#include <random>
#include <vector>

#include "tests/fuzz/fuzz_target.h"

namespace fs = std::filesystem;

namespace plateloom::fuzz {

namespace {

std::map<std::string, Target>& targets() {
    static std::map<std::string, Target> all;
    return all;
}

std::string contentsOf(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

std::vector<std::string> seedsIn(const fs::path& folder) {
    std::vector<fs::path> paths;
    for (const auto& entry : fs::directory_iterator(folder)) paths.push_back(entry.path());
    std::sort(paths.begin(), paths.end());
    std::vector<std::string> seeds;
    for (const auto& path : paths) seeds.push_back(contentsOf(path));
    return seeds;
}

// One change of those that libFuzzer makes: bits, bytes, ranges, numbers at their limits, another
// seed's text.
void mutate(std::string* bytes, const std::vector<std::string>& seeds, std::mt19937& random) {
    static const std::vector<std::string> kTokens{"1e308",
                                                  "-1",
                                                  "0",
                                                  "1e-320",
                                                  "nan",
                                                  "inf",
                                                  "4294967296",
                                                  "9223372036854775808",
                                                  "null",
                                                  "[",
                                                  "}",
                                                  "\"",
                                                  "\\u0000",
                                                  "\xff",
                                                  std::string(1, '\0'),
                                                  "\n",
                                                  ",",
                                                  ";",
                                                  std::string("\xff\xff\xff\xff", 4),
                                                  std::string("\0\0\0\1", 4),
                                                  std::string("\x7f\xff\xff\xff", 4)};
    const auto below = [&](size_t count) { return size_t(random() % std::max<size_t>(count, 1)); };
    const size_t at = below(bytes->size() + 1), length = below(1 + below(64));
    switch (below(6)) {
        case 0:
            if (at < bytes->size()) (*bytes)[at] = char((*bytes)[at] ^ (1 << below(8)));
            break;
        case 1:
            if (at < bytes->size()) (*bytes)[at] = char(below(256));
            break;
        case 2:
            bytes->erase(at, length);
            break;
        case 3:
            bytes->insert(at, bytes->substr(below(bytes->size()), length));
            break;
        case 4: {
            const std::string& token = kTokens[below(kTokens.size())];
            bytes->replace(at, below(token.size() + 1), token);
            break;
        }
        default: {
            const std::string& other = seeds[below(seeds.size())];
            bytes->replace(at, length, other.substr(below(other.size()), below(1 + below(200))));
        }
    }
}

// What is running, for leaveRunning.
std::string running;

// A fault leaves its input in fuzz_replay.last, to be run again.
extern "C" void leaveRunning(int signal_number) {
    const int file = ::open("fuzz_replay.last", O_CREAT | O_TRUNC | O_WRONLY, 0644);
    if (file >= 0 && ::write(file, running.data(), running.size()) >= 0) {
        constexpr std::string_view kTold = "its input is in fuzz_replay.last\n";
        (void)!::write(STDERR_FILENO, kTold.data(), kTold.size());
    }
    ::signal(signal_number, SIG_DFL);
    ::raise(signal_number);
}

void runAll(const fs::path& seeds_folder, int count) {
    for (const int fault : {SIGABRT, SIGSEGV, SIGBUS, SIGFPE, SIGILL})
        ::signal(fault, leaveRunning);
    for (const auto& [name, target] : targets()) {
        const auto begin = std::chrono::steady_clock::now();
        const auto seeds = seedsIn(seeds_folder / name);
        holds(!seeds.empty(), ("there are seeds of " + name).c_str());
        for (const auto& seed : seeds) target(running = seed);
        std::mt19937 random(20);
        for (int i = 0; i < count; ++i) {
            running = seeds[random() % seeds.size()];
            for (auto changes = 1 + random() % 4; changes > 0; --changes)
                mutate(&running, seeds, random);
            target(running);
        }
        const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begin;
        std::printf("%-22s %3zu seeds, %6d mutations, %5.1f s\n", name.c_str(), seeds.size(), count,
                    took.count());
    }
}

}  // namespace

bool addTarget(const char* name, Target target) {
    targets()[name] = target;
    return true;
}

}  // namespace plateloom::fuzz

int main(int count, char** words) {
    using namespace plateloom::fuzz;
    const std::vector<std::string> arguments(words + 1, words + count);
    if (arguments.size() > 2) {
        const auto target = targets().find(arguments[1]);
        if (target == targets().end()) return std::cerr << "no such target\n", 2;
        for (size_t i = 2; i < arguments.size(); ++i) target->second(contentsOf(arguments[i]));
        return 0;
    }
    if (arguments.empty()) return std::cerr << "fuzz_replay SEEDS [COUNT]\n", 2;
    runAll(arguments[0], arguments.size() > 1 ? std::stoi(arguments[1]) : 10000);
}

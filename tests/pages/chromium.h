// A headless Chromium that a test drives: opens a page from disk, runs script in it, presses and
// drags as a finger would, and tells what the page complained of. Chrome DevTools Protocol over the
// browser's own pipe (--remote-debugging-pipe: file descriptors 3 and 4, messages end in a zero
// byte), so nothing but the browser is needed.
#pragma once

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <catch2/catch.hpp>
#include <csignal>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/program.h"

namespace plateloom::test {

using nlohmann::json;

/// The browser: $CHROMIUM, else chromium on the PATH. Fails the test, saying so, when there is
/// none.
inline std::string chromiumPath() {
    if (const char* named = std::getenv("CHROMIUM")) return named;
    for (const char* path : {"/usr/bin/chromium", "/usr/local/bin/chromium"})
        if (access(path, X_OK) == 0) return path;
    FAIL(
        "Chromium is missing, so the report's page can't be tested: run .ci/setup test, or name "
        "the browser in $CHROMIUM");
    return {};
}

class Chromium {
public:
    explicit Chromium(const std::vector<std::string>& more_options = {}) {
        int to_browser[2], from_browser[2];
        if (pipe2(to_browser, O_CLOEXEC) != 0 || pipe2(from_browser, O_CLOEXEC) != 0) std::abort();
        std::vector<std::string> options{chromiumPath(),
                                         "--headless",
                                         "--no-sandbox",
                                         "--remote-debugging-pipe",
                                         "--no-first-run",
                                         "--disable-extensions",
                                         "--disable-background-networking",
                                         "--disable-dev-shm-usage",
                                         "--use-angle=swiftshader",
                                         "--enable-unsafe-swiftshader",
                                         "--user-data-dir=" + profile_.path().string()};
        options.insert(options.end(), more_options.begin(), more_options.end());
        std::vector<char*> arguments;
        for (auto& option : options) arguments.push_back(option.data());
        arguments.push_back(nullptr);
        child_ = fork();
        if (child_ == 0) {
            // Moved out of the way first: a pipe's end may itself be 3 or 4.
            const int in = fcntl(to_browser[0], F_DUPFD, 10);
            const int out = fcntl(from_browser[1], F_DUPFD, 10);
            dup2(in, 3);
            dup2(out, 4);
            const int nowhere = open("/dev/null", O_WRONLY);
            dup2(nowhere, 1);
            dup2(nowhere, 2);
            execv(arguments[0], arguments.data());
            _exit(127);
        }
        close(to_browser[0]);
        close(from_browser[1]);
        write_to_ = to_browser[1];
        read_from_ = from_browser[0];
        std::signal(SIGPIPE, SIG_IGN);
    }
    ~Chromium() {
        close(write_to_);  // a browser without a driver ends
        close(read_from_);
        if (child_ > 0) waitpid(child_, nullptr, 0);
    }
    Chromium(const Chromium&) = delete;
    Chromium& operator=(const Chromium&) = delete;

    struct Window {
        int width = 1024, height = 768;
        bool dark = false;
    };

    /// Opens a page in a fresh tab, the only one, and waits until it is ready.
    void show(const std::filesystem::path& file, const Window& window) {
        const json target = call("Target.createTarget", {{"url", "about:blank"}}, "");
        if (!tab_.empty()) call("Target.closeTarget", {{"targetId", tab_}}, "");
        tab_ = target.at("targetId");
        session_ = call("Target.attachToTarget",
                        {{"targetId", target.at("targetId")}, {"flatten", true}}, "")
                       .at("sessionId")
                       .get<std::string>();
        complaints_.clear();
        requests_.clear();
        for (const char* domain : {"Page.enable", "Runtime.enable", "Log.enable", "Network.enable"})
            call(domain);
        resize(window);
        call("Page.navigate", {{"url", "file://" + file.string()}});
        // The page says when it is ready; a broken one never does, and the test tells why.
        const json ready =
            run("new Promise((done) => { let left = 400; const look = () => "
                "document.body && document.body.dataset.ready ? done(true) : left-- > 0 ? "
                "setTimeout(look, 25) : done(false); look(); })");
        INFO("complaints: " << json(complaints_).dump());
        REQUIRE(ready == true);
        settle();
    }

    void resize(const Window& window) {
        call("Emulation.setDeviceMetricsOverride", {{"width", window.width},
                                                    {"height", window.height},
                                                    {"deviceScaleFactor", 1},
                                                    {"mobile", false}});
        call("Emulation.setEmulatedMedia",
             {{"features",
               {{{"name", "prefers-color-scheme"}, {"value", window.dark ? "dark" : "light"}}}}});
    }

    /// The value of an expression in the page; promises are waited for.
    json run(const std::string& expression) {
        const json answer =
            call("Runtime.evaluate",
                 {{"expression", expression}, {"returnByValue", true}, {"awaitPromise", true}});
        if (answer.contains("exceptionDetails")) {
            const json& told = answer.at("exceptionDetails");
            FAIL_CHECK(expression << ": " << told.dump());
        }
        return answer.at("result").value("value", json());
    }
    /// Waits until what was asked for is drawn.
    void settle() {
        run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))");
    }

    void mouse(const char* type, double x, double y, int buttons) {
        call("Input.dispatchMouseEvent", {{"type", type},
                                          {"x", x},
                                          {"y", y},
                                          {"button", buttons ? "left" : "none"},
                                          {"buttons", buttons},
                                          {"clickCount", 1}});
    }
    void tap(double x, double y) {
        mouse("mousePressed", x, y, 1);
        mouse("mouseReleased", x, y, 1);
        settle();
    }
    void drag(double x, double y, double dx, double dy) {
        mouse("mousePressed", x, y, 1);
        for (int i = 1; i <= 4; ++i) mouse("mouseMoved", x + dx * i / 4, y + dy * i / 4, 1);
        mouse("mouseReleased", x + dx, y + dy, 1);
        settle();
    }
    /// Fingers that go from one place to another: {x, y, to x, to y} each.
    void touch(const std::vector<std::array<double, 4>>& fingers) {
        const auto points = [&](double share) {
            json places = json::array();
            for (const auto& [x, y, to_x, to_y] : fingers)
                places.push_back({{"x", x + share * (to_x - x)},
                                  {"y", y + share * (to_y - y)},
                                  {"id", places.size()}});
            return places;
        };
        const auto send = [&](const char* type, const json& places) {
            call("Input.dispatchTouchEvent", {{"type", type}, {"touchPoints", places}});
        };
        send("touchStart", points(0));
        for (int i = 1; i <= 4 && fingers.front()[0] != fingers.front()[2]; ++i)
            send("touchMove", points(i / 4.0));
        send("touchEnd", json::array());
        settle();
    }
    void wheel(double x, double y, double down) {
        call("Input.dispatchMouseEvent",
             {{"type", "mouseWheel"}, {"x", x}, {"y", y}, {"deltaX", 0}, {"deltaY", down}});
        settle();
    }
    void key(const std::string& name) {
        for (const char* type : {"keyDown", "keyUp"})
            call("Input.dispatchKeyEvent", {{"type", type}, {"key", name}});
        settle();
    }

    /// Errors, uncaught exceptions and everything else that reached the console.
    [[nodiscard]] const std::vector<std::string>& complaints() const { return complaints_; }
    /// What the page asked for, itself and its data: URLs left out.
    [[nodiscard]] const std::vector<std::string>& requests() const { return requests_; }

private:
    json call(const std::string& method, const json& parameters = json::object()) {
        return call(method, parameters, session_);
    }
    json call(const std::string& method, const json& parameters, const std::string& session) {
        json message{{"id", ++last_id_}, {"method", method}, {"params", parameters}};
        if (!session.empty()) message["sessionId"] = session;
        std::string text = message.dump();
        text += '\0';
        for (size_t sent = 0; sent < text.size();) {
            const ssize_t n = write(write_to_, text.data() + sent, text.size() - sent);
            if (n <= 0) {
                FAIL("Chromium ended while it was asked for " << method << " (is " << chromiumPath()
                                                              << " whole?)");
            }
            sent += size_t(n);
        }
        for (;;) {
            json answer = receive(method);
            if (answer.value("id", 0) == last_id_) {
                INFO(method << ": " << answer.dump());
                REQUIRE(answer.contains("result"));
                return answer.at("result");
            }
            note(answer);
        }
    }
    json receive(const std::string& method) {
        for (;;) {
            const size_t end = received_.find('\0');
            if (end != std::string::npos) {
                json message = json::parse(received_.substr(0, end));
                received_.erase(0, end + 1);
                return message;
            }
            char bytes[65536];
            const ssize_t n = read(read_from_, bytes, sizeof bytes);
            if (n <= 0) {
                FAIL("Chromium ended while it answered " << method << " (is " << chromiumPath()
                                                         << " whole?)");
            }
            received_.append(bytes, size_t(n));
        }
    }
    void note(const json& event) {
        const std::string method = event.value("method", "");
        if (method == "Runtime.exceptionThrown" || method == "Runtime.consoleAPICalled" ||
            method == "Log.entryAdded" || method == "Page.javascriptDialogOpening")
            complaints_.push_back(event.at("params").dump());
        if (method == "Network.requestWillBeSent") {
            const std::string url = event.at("params").at("request").at("url");
            if (url.rfind("data:", 0) != 0) requests_.push_back(url);
        }
    }

    Folder profile_;
    pid_t child_ = -1;
    int write_to_ = -1, read_from_ = -1, last_id_ = 0;
    std::string tab_, session_, received_;
    std::vector<std::string> complaints_, requests_;
};

}  // namespace plateloom::test

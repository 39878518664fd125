// Debian's Chromium without a screen, driven by the DevTools protocol over two pipes: messages of
// JSON, each ended by a zero byte, in on descriptor 3 and out on 4 (--remote-debugging-pipe).
#pragma once

#include <fcntl.h>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>
#include <vector>

#include "session/support.hpp"

namespace nocktrail::serve::test {

class Browser {
 public:
  using json = nlohmann::json;

  static bool there() { return std::system("command -v chromium >/dev/null 2>&1") == 0; }

  Browser() {
    int in[2];
    int out[2];
    if (::pipe2(in, O_CLOEXEC) != 0 || ::pipe2(out, O_CLOEXEC) != 0) {
      throw std::runtime_error("no pipes");
    }
    const std::string profile = "--user-data-dir=" + profile_.path().string();
    pid_ = ::fork();
    if (pid_ == 0) {
      ::setpgid(0, 0);
      const int from = ::fcntl(in[0], F_DUPFD, 10);
      const int to = ::fcntl(out[1], F_DUPFD, 10);
      ::dup2(from, 3);
      ::dup2(to, 4);
      const int nothing = ::open("/dev/null", O_RDWR);
      ::dup2(nothing, STDOUT_FILENO);
      ::dup2(nothing, STDERR_FILENO);
      ::execlp("chromium", "chromium", "--headless=new", "--no-sandbox", "--disable-gpu",
               "--hide-scrollbars", "--no-first-run", "--disable-background-networking",
               "--disable-component-update", "--disable-sync", "--disable-default-apps",
               "--disable-extensions", "--disable-domain-reliability", "--no-pings",
               "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
               "--remote-debugging-pipe", profile.c_str(), "about:blank",
               static_cast<char*>(nullptr));
      ::_exit(127);
    }
    ::close(in[0]);
    ::close(out[1]);
    to_ = in[1];
    from_ = out[0];
    const std::string target = call("Target.createTarget", {{"url", "about:blank"}})["targetId"];
    session_ =
        call("Target.attachToTarget", {{"targetId", target}, {"flatten", true}})["sessionId"];
    for (const char* part : {"Page", "Runtime", "Network", "Log", "DOM"}) {
      call(std::string(part) + ".enable", json::object());
    }
  }
  Browser(const Browser&) = delete;
  Browser& operator=(const Browser&) = delete;
  ~Browser() {
    ::kill(-pid_, SIGKILL);
    ::waitpid(pid_, nullptr, 0);
    ::close(to_);
    ::close(from_);
  }

  // The answer's result. Throws std::runtime_error for an error of the protocol, or after a minute.
  json call(const std::string& method, const json& parameters) {
    json message = {{"id", ++last_}, {"method", method}, {"params", parameters}};
    if (!session_.empty()) {
      message["sessionId"] = session_;
    }
    const std::string text = message.dump() + '\0';
    if (::write(to_, text.data(), text.size()) != static_cast<ssize_t>(text.size())) {
      throw std::runtime_error("the browser takes nothing");
    }
    for (;;) {
      const json got = next();
      if (got.value("id", 0) == last_) {
        if (got.contains("error")) {
          throw std::runtime_error(method + ": " + got["error"].dump());
        }
        return got["result"];
      }
      note(got);
    }
  }

  void screen(int width, int height, bool phone) {
    call("Emulation.setDeviceMetricsOverride", {{"width", width},
                                                {"height", height},
                                                {"deviceScaleFactor", phone ? 2 : 1},
                                                {"mobile", phone}});
    call("Emulation.setTouchEmulationEnabled", {{"enabled", phone}});
  }
  void dark(bool wanted) {
    call("Emulation.setEmulatedMedia",
         {{"features", json::array({{{"name", "prefers-color-scheme"},
                                     {"value", wanted ? "dark" : "light"}}})}});
  }
  void open(const std::string& url) { call("Page.navigate", {{"url", url}}); }

  // The value of an expression of the page's script, awaited.
  json value(const std::string& expression) {
    const json got = call("Runtime.evaluate", {{"expression", expression},
                                               {"returnByValue", true},
                                               {"awaitPromise", true},
                                               {"userGesture", true}});
    return got["result"].contains("value") ? got["result"]["value"] : json(nullptr);
  }
  // Empty while one page gives way to the next.
  std::string text(const std::string& selector) {
    json got;
    try {
      got = value("(document.querySelector(" + json(selector).dump() +
                  ") || {innerText: ''}).innerText");
    } catch (const std::runtime_error& fault) {
      if (std::string(fault.what()).find("navigated or closed") == std::string::npos) {
        throw;
      }
    }
    return got.is_string() ? got.get<std::string>() : "";
  }
  void click(const std::string& selector) {
    value("document.querySelector(" + json(selector).dump() + ").click()");
  }
  void type(const std::string& selector, const std::string& words) {
    value("(function(e) { e.value = " + json(words).dump() +
          "; e.dispatchEvent(new Event('input', {bubbles: true}));"
          " e.dispatchEvent(new Event('change', {bubbles: true})); })(document.querySelector(" +
          json(selector).dump() + "))");
  }
  void choose_files(const std::string& selector, const std::vector<std::string>& paths) {
    const int root = call("DOM.getDocument", json::object())["root"]["nodeId"];
    const int node =
        call("DOM.querySelector", {{"nodeId", root}, {"selector", selector}})["nodeId"];
    call("DOM.setFileInputFiles", {{"nodeId", node}, {"files", paths}});
  }
  // A finger, or the mouse, put down there on the screen, moved a little, and lifted.
  void tap(
      double x, double y, bool finger, const std::function<void()>& before_lifting = [] {}) {
    if (finger) {
      const auto touch = [&](const char* type, const json& points) {
        call("Input.dispatchTouchEvent", {{"type", type}, {"touchPoints", points}});
      };
      touch("touchStart", json::array({{{"x", x + 9}, {"y", y - 7}}}));
      touch("touchMove", json::array({{{"x", x}, {"y", y}}}));
      before_lifting();
      touch("touchEnd", json::array());
      return;
    }
    const auto mouse = [&](const char* type, double at_x, double at_y) {
      call("Input.dispatchMouseEvent", {{"type", type},
                                        {"x", at_x},
                                        {"y", at_y},
                                        {"button", "left"},
                                        {"buttons", 1},
                                        {"clickCount", 1}});
    };
    mouse("mousePressed", x + 9, y - 7);
    mouse("mouseMoved", x, y);
    before_lifting();
    mouse("mouseReleased", x, y);
  }
  // Shift is 8 (DevTools protocol, Input.dispatchKeyEvent).
  void press(const std::string& key, int with = 0) {
    for (const char* type : {"keyDown", "keyUp"}) {
      call("Input.dispatchKeyEvent", {{"type", type}, {"key", key}, {"modifiers", with}});
    }
  }
  // The whole page, as a PNG.
  void picture(const std::filesystem::path& file) {
    const std::string data =
        call("Page.captureScreenshot", {{"captureBeyondViewport", true}})["data"];
    std::ofstream(file, std::ios::binary) << decoded(data);
  }

  // What the page asked for, by address, and what it complained of.
  const std::vector<std::string>& asked() const { return asked_; }
  const std::vector<std::string>& complaints() const { return complaints_; }

 private:
  json next() {
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    for (;;) {
      const std::size_t zero = buffer_.find('\0');
      if (zero != std::string::npos) {
        const json message = json::parse(buffer_.substr(0, zero));
        buffer_.erase(0, zero + 1);
        return message;
      }
      pollfd ready{from_, POLLIN, 0};
      std::string part(65536, '\0');
      if (std::chrono::steady_clock::now() > end || ::poll(&ready, 1, 1000) < 0) {
        throw std::runtime_error("the browser does not answer");
      }
      if ((ready.revents & (POLLIN | POLLHUP)) != 0) {
        const ssize_t got = ::read(from_, part.data(), part.size());
        if (got <= 0) {
          throw std::runtime_error("the browser is gone");
        }
        buffer_.append(part, 0, static_cast<std::size_t>(got));
      }
    }
  }

  void note(const json& event) {
    const std::string method = event.value("method", "");
    if (method == "Network.requestWillBeSent") {
      asked_.push_back(event["params"]["request"]["url"]);
    } else if (method == "Runtime.exceptionThrown" || method == "Log.entryAdded" ||
               (method == "Runtime.consoleAPICalled" && event["params"]["type"] == "error")) {
      complaints_.push_back(event["params"].dump());
    }
  }

  // RFC 4648, section 4.
  static std::string decoded(const std::string& text) {
    std::string out;
    unsigned bits = 0;
    int have = 0;
    for (const char c : text) {
      static const std::string kDigits =
          "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
      const std::size_t digit = kDigits.find(c);
      if (digit == std::string::npos) {
        break;
      }
      bits = (bits << 6U) | static_cast<unsigned>(digit);
      if ((have += 6) >= 8) {
        have -= 8;
        out += static_cast<char>((bits >> static_cast<unsigned>(have)) & 0xFFU);
      }
    }
    return out;
  }

  session::test::Folder profile_;
  pid_t pid_ = -1;
  int to_ = -1;
  int from_ = -1;
  int last_ = 0;
  std::string session_;
  std::string buffer_;
  std::vector<std::string> asked_;
  std::vector<std::string> complaints_;
};

}  // namespace nocktrail::serve::test

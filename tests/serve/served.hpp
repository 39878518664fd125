// The built program serving a folder of a test's own, and a client that is nothing but a socket.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#include <cstdlib>
#include <cstring>
#include <string>
#include <utility>
#include <vector>

#include "session/program.hpp"

namespace nocktrail::serve::test {

namespace fs = std::filesystem;
using session::test::content;
using session::test::eventually;
using session::test::Folder;
using session::test::Program;
using session::test::says;
using session::test::test_clip;

class Socket {
 public:
  explicit Socket(int port) : fd_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in where{};
    where.sin_family = AF_INET;
    where.sin_port = htons(static_cast<std::uint16_t>(port));
    where.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    timeval patience{180, 0};  // under the sanitizers a replay takes its time
    ::setsockopt(fd_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof(patience));
    sockaddr address{};
    std::memcpy(&address, &where, sizeof(where));
    connected_ = ::connect(fd_, &address, sizeof(where)) == 0;
  }
  Socket(Socket&& other) noexcept
      : fd_(std::exchange(other.fd_, -1)), connected_(other.connected_) {}
  Socket& operator=(Socket&&) = delete;
  ~Socket() { close(); }

  bool connected() const { return connected_; }
  void close() {
    if (fd_ >= 0) {
      ::close(std::exchange(fd_, -1));
    }
  }
  // False once the other side is gone.
  bool send(std::string_view bytes) const {
    while (!bytes.empty()) {
      const ssize_t put = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (put <= 0) {
        return false;
      }
      bytes.remove_prefix(static_cast<std::size_t>(put));
    }
    return true;
  }
  void no_more() const { ::shutdown(fd_, SHUT_WR); }
  // What is there, waiting for the first of it; empty at the end.
  std::string receive() const {
    std::string bytes(65536, '\0');
    const ssize_t got = ::recv(fd_, bytes.data(), bytes.size(), 0);
    bytes.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
    return bytes;
  }

 private:
  int fd_;
  bool connected_ = false;
};

struct Got {
  int status = 0;  // 0: no answer
  std::string head;
  std::string body;
};

// The answer to what was sent before, by its length.
inline Got answer_on(const Socket& socket) {
  std::string all;
  std::size_t end = std::string::npos;
  while ((end = all.find("\r\n\r\n")) == std::string::npos) {
    const std::string more = socket.receive();
    if (more.empty()) {
      return {};
    }
    all += more;
  }
  Got got;
  got.head = all.substr(0, end + 2);
  got.body = all.substr(end + 4);
  got.status = std::atoi(got.head.c_str() + std::strlen("HTTP/1.1 "));
  const std::size_t length = got.head.find("Content-Length: ");
  const std::size_t wanted =
      length == std::string::npos
          ? 0
          : std::strtoul(got.head.c_str() + length + std::strlen("Content-Length: "), nullptr, 10);
  while (got.body.size() < wanted) {
    const std::string more = socket.receive();
    if (more.empty()) {
      break;
    }
    got.body += more;
  }
  return got;
}

inline std::string escaped(std::string_view name) {
  std::string out;
  for (const char c : name) {
    static constexpr const char* kDigits = "0123456789ABCDEF";
    const auto byte = static_cast<unsigned char>(c);
    out += '%';
    out += kDigits[byte >> 4U];
    out += kDigits[byte & 15U];
  }
  return out;
}

using Headers = std::vector<std::pair<std::string, std::string>>;

class Served {
 public:
  explicit Served(std::vector<std::string> further = {})
      : program_(scratch_, "serve", arguments(std::move(further))) {
    ready_ = eventually([&] { return says(program_.out(), "\n"); });
    url_ = program_.out().substr(0, program_.out().find('\n'));
    const std::size_t mark = url_.find("/?key=");
    if (mark != std::string::npos) {
      host_ = url_.substr(std::strlen("http://"), mark - std::strlen("http://"));
      key_ = url_.substr(mark + std::strlen("/?key="));
      port_ = std::atoi(host_.c_str() + host_.find(':') + 1);
    }
  }

  bool ready() const { return ready_ && !key_.empty(); }
  const Folder& folder() const { return folder_; }
  Program& program() { return program_; }
  int port() const { return port_; }
  const std::string& url() const { return url_; }
  const std::string& host() const { return host_; }
  const std::string& key() const { return key_; }

  std::string head(const std::string& method, const std::string& target,
                   const Headers& headers) const {
    std::string text = method + " " + target + " HTTP/1.1\r\n";
    for (const auto& [name, value] : headers) {
      text += name + ": " + value + "\r\n";
    }
    return text + "\r\n";
  }
  Headers known() const { return {{"Host", host_}, {"X-Nocktrail-Key", key_}}; }

  Got get(const std::string& target) const { return get(target, known()); }
  Got get(const std::string& target, const Headers& headers) const {
    const Socket socket(port_);
    socket.send(head("GET", target, headers));
    return answer_on(socket);
  }
  Got post(const std::string& target, const std::string& body) const {
    return post(target, body, known());
  }
  Got post(const std::string& target, const std::string& body, Headers headers) const {
    const Socket socket(port_);
    headers.emplace_back("Content-Length", std::to_string(body.size()));
    socket.send(head("POST", target, headers));
    socket.send(body);
    return answer_on(socket);
  }
  Got send_clip(const std::string& name, const std::string& body,
                const std::string& setup = "") const {
    return post("/api/clips?name=" + escaped(name) + "&setup=" + escaped(setup), body);
  }

  // Every file in the folder but the results, hidden ones too, by its path in it.
  std::vector<std::string> files() const {
    std::vector<std::string> all;
    for (const auto& entry : fs::recursive_directory_iterator(folder_.path())) {
      const std::string name = entry.path().lexically_relative(folder_.path()).string();
      if (!name.starts_with(session::kResultsFolder) && !entry.is_directory()) {
        all.push_back(name);
      }
    }
    std::sort(all.begin(), all.end());
    return all;
  }

 private:
  std::vector<std::string> arguments(std::vector<std::string> further) const {
    std::vector<std::string> all = {"serve", folder_.path().string(), "--no-logbook"};
    all.insert(all.end(), further.begin(), further.end());
    return all;
  }

  Folder scratch_;
  Folder folder_;
  Program program_;
  bool ready_ = false;
  std::string url_;
  std::string host_;
  std::string key_;
  int port_ = 0;
};

}  // namespace nocktrail::serve::test

// Carries requests: one thread for everybody who is connected, a few for what takes time.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "answers.hpp"
#include "gate.hpp"
#include "incoming.hpp"

namespace nocktrail::serve {

struct ServerOptions {
  std::vector<std::string> addresses;  // IPv4 addresses to listen on, the first one first
  int port = 0;                        // 0: one that is free, the same for all addresses
  IncomingLimits incoming;
  std::size_t most_connections = 600;  // a newcomer takes the place of whoever idled longest
  std::size_t most_streams = 64;       // open pages that are told of changes
  std::size_t most_incoming = 8;       // clips received at once
};

class Server {
 public:
  // Listens, and answers nobody yet. Throws BadInput where it cannot.
  explicit Server(const ServerOptions& options);
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;
  ~Server();  // stops

  int port() const;

  // From here on requests are answered, by threads of the server's own. `folder`: of the session.
  void start(std::filesystem::path folder, Answers& answers, const Gate& gate);
  // An event for all open pages; from any thread.
  void tell(const std::string& event, const std::string& data);
  // Ends all connections; what was coming in leaves nothing.
  void stop();

 private:
  class State;
  std::shared_ptr<State> state_;
};

}  // namespace nocktrail::serve

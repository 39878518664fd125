#include "server.hpp"

#include <fmt/format.h>
#include <pthread.h>

#include <algorithm>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <thread>

#include "connection.hpp"
#include "nocktrail/error.hpp"

namespace nocktrail::serve {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using ErrorCode = boost::system::error_code;

// So often an open page hears something, and one that went away without a word is noticed.
constexpr std::chrono::seconds kBetweenSigns{15};
// After the system had no more room for connections.
constexpr std::chrono::milliseconds kAfterFull{100};

// Signals are for the thread that waits for them; threads begun meanwhile are left alone.
class SignalsHeld {
 public:
  SignalsHeld() {
    sigset_t all;
    sigfillset(&all);
    ::pthread_sigmask(SIG_BLOCK, &all, &before_);
  }
  SignalsHeld(const SignalsHeld&) = delete;
  SignalsHeld& operator=(const SignalsHeld&) = delete;
  ~SignalsHeld() { ::pthread_sigmask(SIG_SETMASK, &before_, nullptr); }

 private:
  sigset_t before_{};
};

}  // namespace

class Server::State {
 public:
  explicit State(const ServerOptions& options) : options_(options) {
    int port = options.port;
    for (const std::string& address : options.addresses) {
      port = listen(address, port);
    }
    hub_.limits = options.incoming;
    hub_.most_streams = options.most_streams;
    hub_.most_incoming = options.most_incoming;
  }

  ~State() { stop(); }

  int port() const { return port_; }

  void start(std::filesystem::path folder, Answers& answers, const Gate& gate) {
    hub_.folder = std::move(folder);
    hub_.answers = &answers;
    hub_.gate = &gate;
    for (tcp::acceptor& acceptor : acceptors_) {
      accept(acceptor);
    }
    give_sign();
    const SignalsHeld held;
    thread_ = std::thread([this] { hub_.io.run(); });
  }

  void tell(const std::string& event, const std::string& data) {
    broadcast(fmt::format("event: {}\ndata: {}\n\n", event, data));
  }

  void stop() {
    hub_.io.stop();
    if (thread_.joinable()) {
      thread_.join();
    }
    for (asio::thread_pool* pool :
         {&hub_.lookups, &hub_.writers, &hub_.changes, &hub_.frames, &hub_.trials}) {
      pool->stop();
      pool->join();
    }
  }

 private:
  int listen(const std::string& address, int port) {
    tcp::acceptor acceptor(hub_.io);
    try {
      const tcp::endpoint where(asio::ip::make_address(address), static_cast<unsigned short>(port));
      acceptor.open(where.protocol());
      acceptor.set_option(tcp::acceptor::reuse_address(true));
      acceptor.bind(where);
      acceptor.listen();
      port_ = acceptor.local_endpoint().port();
    } catch (const boost::system::system_error& problem) {
      throw BadInput(
          fmt::format("--port: {}:{} cannot be had ({}); give another, or leave it out for one "
                      "that is free",
                      address, port, problem.code().message()));
    }
    acceptors_.push_back(std::move(acceptor));
    return port_;
  }

  void accept(tcp::acceptor& acceptor) {
    acceptor.async_accept([this, &acceptor](ErrorCode error, tcp::socket socket) {
      if (error == asio::error::operation_aborted) {
        return;
      }
      if (error) {
        pause_.expires_after(kAfterFull);
        pause_.async_wait([this, &acceptor](ErrorCode) { accept(acceptor); });
        return;
      }
      make_room();
      auto connection = std::make_shared<Connection>(std::move(socket), hub_);
      hub_.connections.push_back(connection);
      connection->start();
      accept(acceptor);
    });
  }

  void make_room() {
    auto& all = hub_.connections;
    all.erase(std::remove_if(all.begin(), all.end(), [](const auto& one) { return one.expired(); }),
              all.end());
    if (all.size() < options_.most_connections) {
      return;
    }
    std::shared_ptr<Connection> longest;
    for (const std::weak_ptr<Connection>& one : all) {
      const std::shared_ptr<Connection> connection = one.lock();
      if (connection && connection->idle() &&
          (!longest || connection->since() < longest->since())) {
        longest = connection;
      }
    }
    if (longest) {
      longest->close();
    }
  }

  void broadcast(std::string text) {
    auto shared = std::make_shared<const std::string>(std::move(text));
    asio::post(hub_.io, [this, shared] {
      for (const std::weak_ptr<Connection>& one : hub_.streams) {
        if (const std::shared_ptr<Connection> connection = one.lock()) {
          connection->push(shared);
        }
      }
    });
  }

  void give_sign() {
    sign_.expires_after(kBetweenSigns);
    sign_.async_wait([this](ErrorCode error) {
      if (!error) {
        hub_.parts.drop_stale(std::chrono::steady_clock::now());
        broadcast(": still here\n\n");
        give_sign();
      }
    });
  }

  ServerOptions options_;
  int port_ = 0;
  Hub hub_{1};
  std::vector<tcp::acceptor> acceptors_;
  asio::steady_timer pause_{hub_.io};
  asio::steady_timer sign_{hub_.io};
  std::thread thread_;
};

Server::Server(const ServerOptions& options) {
  const SignalsHeld held;  // the pools' threads begin here
  state_ = std::make_shared<State>(options);
}

Server::~Server() {
  stop();
}

int Server::port() const {
  return state_->port();
}

void Server::start(std::filesystem::path folder, Answers& answers, const Gate& gate) {
  state_->start(std::move(folder), answers, gate);
}

void Server::tell(const std::string& event, const std::string& data) {
  state_->tell(event, data);
}

void Server::stop() {
  state_->stop();
}

}  // namespace nocktrail::serve

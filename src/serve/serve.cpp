#include "nocktrail/serve/serve.hpp"

#include <fmt/format.h>

#include <utility>

#include "addresses.hpp"
#include "answers.hpp"
#include "board.hpp"
#include "by_hand.hpp"
#include "gate.hpp"
#include "nocktrail/error.hpp"
#include "replays.hpp"
#include "secret.hpp"
#include "server.hpp"
#include "view.hpp"

namespace nocktrail::serve {
namespace {

constexpr const char* kThisMachine = "127.0.0.1";

ServerOptions server_options(const ServeSettings& settings, bool& are_private) {
  if (settings.port < 0 || settings.port > 65535) {
    throw BadInput(
        fmt::format("--port: {} is out of range; give a number up to 65535", settings.port));
  }
  ServerOptions options;
  options.port = settings.port;
  if (settings.lan) {
    LocalAddresses local = local_addresses();
    options.addresses = std::move(local.all);
    are_private = local.are_private;
    if (options.addresses.empty()) {
      throw BadInput("--lan: this computer is in no network; join one, or leave --lan out");
    }
  }
  options.addresses.emplace_back(kThisMachine);
  return options;
}

class StopsWithScope {
 public:
  StopsWithScope(Server& server, ByHand& by_hand, Replays& replays)
      : server_(server), by_hand_(by_hand), replays_(replays) {}
  StopsWithScope(const StopsWithScope&) = delete;
  StopsWithScope& operator=(const StopsWithScope&) = delete;
  ~StopsWithScope() {
    by_hand_.stop();
    replays_.stop();
    server_.stop();
  }

 private:
  Server& server_;
  ByHand& by_hand_;
  Replays& replays_;
};

}  // namespace

void serve(const std::filesystem::path& folder, const desk::OutputSettings& output,
           const desk::WatchSettings& watch, const ServeSettings& settings,
           const desk::Voice& voice, const desk::WatchEvents& events,
           const std::function<void(const Ready&)>& ready) {
  const std::filesystem::path session = session::load(folder).folder;
  Ready where;
  where.lan = settings.lan;
  const ServerOptions options = server_options(settings, where.are_private);
  Server server(options);
  Board board(
      session, output.results,
      [&server](const std::string& event, const std::string& data) { server.tell(event, data); });
  // Refuses what cannot be before anybody is told of an address.
  desk::Watcher watcher(session, output, watch, board.listen(voice), board.listen(events));
  clear_unfinished(session);
  const std::string secret = fresh_secret();
  std::vector<std::string> hosts;
  for (const std::string& address : options.addresses) {
    hosts.push_back(fmt::format("{}:{}", address, server.port()));
    std::string url = fmt::format("http://{}/?key={}", hosts.back(), secret);
    if (where.url.empty()) {
      where.url = std::move(url);
    } else {
      where.others.push_back(std::move(url));
    }
  }
  ByHand by_hand(session, output, board);
  Replays replays(session, output.results, board);
  Answers answers(session, output.results, board, by_hand, replays, phone_view(where));
  const Gate gate(secret, hosts, server.port());
  const StopsWithScope stops(server, by_hand, replays);  // before what it answers from goes
  server.start(session, answers, gate);
  ready(where);
  watcher.run();
}

}  // namespace nocktrail::serve

#include "board.hpp"

#include <algorithm>
#include <iterator>

#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/words.hpp"

namespace nocktrail::serve {
namespace {

// Of progress, as often as an eye follows.
constexpr std::chrono::milliseconds kBetweenSteps{250};
constexpr std::size_t kMostMessages = 12;

std::shared_ptr<const Published> published(const tune::SessionRecord& record,
                                           const tune::SessionJudgement& judgement,
                                           const std::vector<std::string>& messages) {
  auto one = std::make_shared<Published>();
  one->record = record;
  one->judgement = judgement;
  one->json = session::session_json(record, judgement, messages);
  return one;
}

}  // namespace

Board::Board(const std::filesystem::path& folder, Told told) : told_(std::move(told)) {
  // Until the first look: a session of which nothing is read.
  tune::SessionRecord record;
  const session::Plan plan = session::load(folder);
  record.name = plan.name;
  record.folder = plan.folder.string();
  now_.published = published(record, tune::judge_session(record), {});
}

Snapshot Board::snapshot() const {
  const std::lock_guard<std::mutex> guard(mutex_);
  return now_;
}

void Board::changed() {
  std::uint64_t version = 0;
  {
    const std::lock_guard<std::mutex> guard(mutex_);
    version = ++now_.version;
  }
  told_("change", std::to_string(version));
}

void Board::note_step(const session::SessionEvents::Step& step) {
  const auto now = std::chrono::steady_clock::now();
  {
    const std::lock_guard<std::mutex> guard(mutex_);
    now_.step = step;
    if (now - last_step_ < kBetweenSteps) {
      return;
    }
    last_step_ = now;
  }
  const nlohmann::json data = {{"clip", rules::printable(step.clip)},
                               {"what", step.what},
                               {"share", step.share},
                               {"done", step.done},
                               {"total", step.total}};
  told_("step", data.dump());
}

void Board::note_judged(const desk::JudgedSession& judged) {
  std::shared_ptr<const Published> next;
  if (judged.published) {
    next = published(judged.read.record, judged.judgement, judged.read.messages);
  }
  {
    const std::lock_guard<std::mutex> guard(mutex_);
    now_.step.reset();
    now_.faults.clear();
    for (const std::string& fault : judged.read.faults) {
      now_.faults.push_back(rules::printable(fault));
    }
    if (next) {
      now_.published = std::move(next);
      now_.fresh.clear();
      now_.done = settled_;
    }
  }
  changed();
}

desk::Voice Board::listen(const desk::Voice& voice) {
  desk::Voice both = voice;
  both.message = [this, say = voice.message](const std::string& line) {
    say(line);
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      now_.messages.push_back(line);
      if (now_.messages.size() > kMostMessages) {
        now_.messages.erase(now_.messages.begin());
      }
    }
    changed();
  };
  both.step = [this, show = voice.step](const session::SessionEvents::Step& step) {
    if (show) {
      show(step);
    }
    note_step(step);
  };
  both.read = [this, tell = voice.read](const std::string& setup, const tune::ClipRecord& clip) {
    if (tell) {
      tell(setup, clip);
    }
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      now_.fresh.emplace_back(setup, clip);
    }
    changed();
  };
  return both;
}

desk::WatchEvents Board::listen(const desk::WatchEvents& events) {
  desk::WatchEvents both = events;
  both.looked = [this, looked = events.looked](const std::set<std::filesystem::path>& settled) {
    if (looked) {
      looked(settled);
    }
    bool other = false;
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      other = settled != settled_;
      settled_ = settled;
      std::set<std::filesystem::path> still;
      std::set_intersection(now_.done.begin(), now_.done.end(), settled.begin(), settled.end(),
                            std::inserter(still, still.end()));
      now_.done = std::move(still);
    }
    if (other) {
      changed();
    }
  };
  both.judged = [this, tell = events.judged](const desk::JudgedSession& judged) {
    if (tell) {
      tell(judged);
    }
    note_judged(judged);
  };
  return both;
}

}  // namespace nocktrail::serve

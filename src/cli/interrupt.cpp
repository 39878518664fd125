#include "interrupt.hpp"

#include <unistd.h>

#include <csignal>

#include "exit_status.hpp"

namespace nocktrail::cli {
namespace {

// The work asks every second or so whether it is to stop. Whatever does not ask for so long is
// waiting for something that may never come, such as the reader of a pipe.
constexpr unsigned kPatience_s = 15;

// A signal handler can reach nothing but a flag of this kind (C++20 [support.signal]).
volatile std::sig_atomic_t interrupt_seen = 0;

extern "C" void end_at_once(int) {
  ::_exit(kInterrupted);  // files are whole or not there at any instant
}

extern "C" void note_interrupt(int) {
  interrupt_seen = 1;
  ::alarm(kPatience_s);
}

}  // namespace

void note_interrupts() {
  struct sigaction action {};
  sigemptyset(&action.sa_mask);
  action.sa_handler = end_at_once;
  sigaction(SIGALRM, &action, nullptr);
  action.sa_handler = note_interrupt;
  // One shot: the default action is back for the second Ctrl-C. System calls restart, so that a
  // half-done write is never mistaken for a failed one.
  action.sa_flags = static_cast<int>(SA_RESETHAND) | SA_RESTART;
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
  // The terminal's window was closed, which may be told twice: by the terminal, and by the system
  // when the terminal's shell has gone. nohup asks to go on.
  struct sigaction hangup {};
  if (sigaction(SIGHUP, nullptr, &hangup) == 0 && hangup.sa_handler != SIG_IGN) {
    action.sa_flags = SA_RESTART;
    sigaction(SIGHUP, &action, nullptr);
  }
}

bool interrupted() {
  return interrupt_seen != 0;
}

}  // namespace nocktrail::cli

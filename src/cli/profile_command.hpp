// `nocktrail profile`: what is the same whenever its archer shoots, written once.
#pragma once

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct ProfileArguments {
  bool make = false;  // a file to fill in
};

CLI::App* add_profile_command(CLI::App& program, ProfileArguments& arguments);
int run_profile(const ProfileArguments& arguments);

}  // namespace nocktrail::cli

// Makes the frames of one clip, one at a time.
#pragma once

#include <memory>
#include <vector>

#include "encode.hpp"
#include "flight.hpp"
#include "picture.hpp"
#include "spec.hpp"

namespace clipmaker {

class Camera;

class Renderer {
 public:
  explicit Renderer(const ClipSpec& spec);
  ~Renderer();
  int frames() const;
  const Camera& camera() const;
  const std::vector<ArrowFlight>& flights() const;
  // Light on the sensor, display orientation, before noise.
  const Picture& expose(int index);
  // As stored: with noise, turned to the stored orientation, eight bits.
  const StoredFrame& stored(int index);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace clipmaker

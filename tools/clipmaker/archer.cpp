#include "archer.hpp"

namespace clipmaker {
Archer::Archer(const ClipSpec& spec, const Camera& camera, const Light& light, double nock_draw_z)
    : camera_(&camera) {
  (void)spec; (void)light; (void)nock_draw_z;
}
void Archer::paint_bow_arm(const View&, const Stance&, Picture&) const {}
void Archer::paint_body(const View&, const Stance&, Picture&) const {}
}  // namespace clipmaker

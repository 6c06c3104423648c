#pragma once

#include <cmath>
#include <cstdint>
#include <initializer_list>
#include <numbers>

namespace tidemark::phantom {

/// One well-mixed number from several. Source: the finaliser of splitmix64 (public domain,
/// S. Vigna; constants from memory), chained.
[[nodiscard]] inline std::uint64_t mix(std::initializer_list<std::uint64_t> parts) {
  std::uint64_t state = 0x9e3779b97f4a7c15ULL;
  for (const std::uint64_t part : parts) {
    state ^= part + 0x9e3779b97f4a7c15ULL + (state << 6U) + (state >> 2U);
    state = (state ^ (state >> 30U)) * 0xbf58476d1ce4e5b9ULL;
    state = (state ^ (state >> 27U)) * 0x94d049bb133111ebULL;
    state ^= state >> 31U;
  }
  return state;
}

/// Random numbers as a function of seed and count, the same on every platform. Unlike core's Random
/// (a Mersenne twister with 2.5 kB of state) one costs nothing to make, so every pixel of a film
/// has its own, and the noise depends on neither the order of the pixels nor the number of threads.
class CountedRandom {
 public:
  explicit CountedRandom(std::uint64_t seed) : seed_(seed) {}

  /// In [0, 1).
  double unit() { return static_cast<double>(mix({seed_, counter_++}) >> 11U) * 0x1.0p-53; }
  double uniform(double low, double high) { return low + (high - low) * unit(); }
  bool chance(double probability) { return unit() < probability; }
  /// Box and Muller's transform.
  double normal(double mean, double sd) {
    const double radius = std::sqrt(-2.0 * std::log(1.0 - unit()));
    return mean + sd * radius * std::cos(2.0 * std::numbers::pi * unit());
  }
  /// Normal, drawn again while beyond `limit` standard deviations.
  double bounded_normal(double mean, double sd, double limit) {
    double z = normal(0.0, 1.0);
    while (std::abs(z) > limit) z = normal(0.0, 1.0);
    return mean + sd * z;
  }

 private:
  std::uint64_t seed_;
  std::uint64_t counter_ = 0;
};

}  // namespace tidemark::phantom

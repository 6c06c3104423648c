#pragma once

#include <cstddef>
#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "tidemark/alignment/align.h"

namespace tidemark::alignment {

/// Registrations that were asked for before, with their answers: whoever moves a landmark by hand
/// asks for most of them again. Films, regions and positions are told by their contents, so that a
/// film prepared anew from the same pixels is the same film. Changes the time, never the answer
/// (two contents of one 64-bit hash apart). Safe on several threads.
class Memory {
 public:
  /// @param most  past so many answers of a kind all of that kind are let go of; the usual number
  ///              is some thousand corrections (house choice)
  explicit Memory(std::size_t most = 20000) : most_(most) {}
  /// As alignment::align.
  [[nodiscard]] Expected<Alignment> align(const PreparedFilm& fixed, const Raster& region,
                                          const PreparedFilm& moving, const Rigid2& start,
                                          const AlignOptions& options);
  /// As alignment::vote.
  [[nodiscard]] std::vector<FeatureVote> vote(const PreparedFilm& fixed, const PreparedFilm& moving,
                                              const Rigid2& moving_from_fixed_mm,
                                              const std::vector<Feature>& features,
                                              const AlignOptions& options);
  /// How many answers are kept.
  [[nodiscard]] std::size_t size();

 private:
  /// Everything that an answer depends on, as bytes.
  using Question = std::string;
  std::size_t most_;
  std::mutex mutex_;
  std::map<Question, Expected<Alignment>> alignments_;
  std::map<Question, std::vector<FeatureVote>> votes_;  ///< of one feature: one or none
};

}  // namespace tidemark::alignment

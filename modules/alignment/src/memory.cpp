#include "tidemark/alignment/memory.h"

#include <functional>
#include <string_view>
#include <type_traits>
#include <utility>

#include "level.h"

namespace tidemark::alignment {
namespace {

/// Past so many answers all are let go of: thousands of corrections. House choice.
constexpr std::size_t kMostAnswers = 20000;

template <class T>
void add(std::string& question, const T& value) {
  static_assert(std::is_arithmetic_v<T> || std::is_enum_v<T>);
  question.append(reinterpret_cast<const char*>(&value), sizeof value);
}

void add(std::string& question, const Raster& raster) {
  add(question, raster.width);
  add(question, raster.height);
  const std::string_view bytes(reinterpret_cast<const char*>(raster.values.data()),
                               raster.values.size() * sizeof(float));
  add(question, std::hash<std::string_view>{}(bytes));
}

void add(std::string& question, const PreparedFilm& film) { add(question, film.levels().contents); }

void add(std::string& question, const Rigid2& motion) {
  add(question, motion.angle_rad);
  add(question, motion.translation.x());
  add(question, motion.translation.y());
}

void add(std::string& question, const AlignOptions& options) {
  // Counts the options: one that is added must be told here. Threads do not change the answer.
  const auto& [level_mm, along, across, angle, agreement, quantile, factor, vote_search,
               least_overlap, block, curvature_step, threads] = options;
  add(question, level_mm.size());
  for (const double level : level_mm) add(question, level);
  for (const double value : {along, across, angle, quantile, factor, vote_search, least_overlap,
                             block, curvature_step}) {
    add(question, value);
  }
  add(question, agreement);
}

std::string question_of(const PreparedFilm& fixed, const PreparedFilm& moving, const Rigid2& where,
                        const AlignOptions& options) {
  std::string question;
  add(question, fixed);
  add(question, moving);
  add(question, where);
  add(question, options);
  return question;
}

template <class Answer>
const Answer* known(const std::map<std::string, Answer>& answers, const std::string& question) {
  const auto found = answers.find(question);
  return found == answers.end() ? nullptr : &found->second;
}

template <class Answer>
void keep(std::map<std::string, Answer>& answers, std::string question, const Answer& answer) {
  if (answers.size() >= kMostAnswers) answers.clear();
  answers.insert_or_assign(std::move(question), answer);
}

}  // namespace

Expected<Alignment> Memory::align(const PreparedFilm& fixed, const Raster& region,
                                  const PreparedFilm& moving, const Rigid2& start,
                                  const AlignOptions& options) {
  std::string question = question_of(fixed, moving, start, options);
  add(question, region);
  {
    const std::scoped_lock lock(mutex_);
    if (const auto* answer = known(alignments_, question)) return *answer;
  }
  auto answer = alignment::align(fixed, region, moving, start, options);
  const std::scoped_lock lock(mutex_);
  keep(alignments_, std::move(question), answer);
  return answer;
}

std::vector<FeatureVote> Memory::vote(const PreparedFilm& fixed, const PreparedFilm& moving,
                                      const Rigid2& moving_from_fixed_mm,
                                      const std::vector<Feature>& features,
                                      const AlignOptions& options) {
  const std::string common = question_of(fixed, moving, moving_from_fixed_mm, options);
  std::vector<std::string> questions;
  std::vector<Feature> unknown;
  for (const Feature& feature : features) {
    std::string question = common + feature.name + '\0';
    add(question, feature.region);
    const std::scoped_lock lock(mutex_);
    if (known(votes_, question) == nullptr) unknown.push_back(feature);
    questions.push_back(std::move(question));
  }
  const auto cast = alignment::vote(fixed, moving, moving_from_fixed_mm, unknown, options);
  const auto of = [&cast](const std::string& name) {
    std::vector<FeatureVote> out;
    for (const FeatureVote& vote : cast) {
      if (vote.name == name) out.push_back(vote);
    }
    return out;
  };
  std::vector<FeatureVote> votes;
  const std::scoped_lock lock(mutex_);
  for (std::size_t i = 0; i < features.size(); ++i) {
    if (known(votes_, questions[i]) == nullptr) {
      keep(votes_, questions[i], of(features[i].name));
    }
    for (const FeatureVote& vote : *known(votes_, questions[i])) votes.push_back(vote);
  }
  return votes;
}

std::size_t Memory::size() {
  const std::scoped_lock lock(mutex_);
  return alignments_.size() + votes_.size();
}

}  // namespace tidemark::alignment

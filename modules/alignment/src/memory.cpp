#include "tidemark/alignment/memory.h"

#include <optional>
#include <type_traits>
#include <utility>

#include "contents.h"
#include "level.h"

namespace tidemark::alignment {
namespace {

template <class T>
void add(std::string& question, const T& value) {
  static_assert(std::is_arithmetic_v<T> || std::is_enum_v<T>);
  question.append(reinterpret_cast<const char*>(&value), sizeof value);
}

void add(std::string& question, const Raster& raster) {
  add(question, raster.width);
  add(question, raster.height);
  add(question, hash_of(raster.values));
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
               vote_finest, least_overlap, block, curvature_step, threads] = options;
  add(question, level_mm.size());
  for (const double level : level_mm) add(question, level);
  for (const double value : {along, across, angle, quantile, factor, vote_search, vote_finest,
                             least_overlap, block, curvature_step}) {
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
std::optional<Answer> known(const std::map<std::string, Answer>& answers,
                            const std::string& question) {
  const auto found = answers.find(question);
  if (found == answers.end()) return std::nullopt;
  return found->second;
}

/// @param most  past so many answers all are let go of
template <class Answer>
void keep(std::map<std::string, Answer>& answers, std::size_t most, const std::string& question,
          const Answer& answer) {
  if (answers.size() >= most) answers.clear();
  answers.insert_or_assign(question, answer);
}

std::vector<FeatureVote> of_feature(const std::vector<FeatureVote>& cast, const std::string& name) {
  std::vector<FeatureVote> out;
  for (const FeatureVote& vote : cast) {
    if (vote.name == name) out.push_back(vote);
  }
  return out;
}

}  // namespace

Expected<Alignment> Memory::align(const PreparedFilm& fixed, const Raster& region,
                                  const PreparedFilm& moving, const Rigid2& start,
                                  const AlignOptions& options) {
  std::string question = question_of(fixed, moving, start, options);
  add(question, region);
  {
    const std::scoped_lock lock(mutex_);
    if (auto answer = known(alignments_, question)) return std::move(*answer);
  }
  auto answer = alignment::align(fixed, region, moving, start, options);
  const std::scoped_lock lock(mutex_);
  keep(alignments_, most_, question, answer);
  return answer;
}

std::vector<FeatureVote> Memory::vote(const PreparedFilm& fixed, const PreparedFilm& moving,
                                      const Rigid2& moving_from_fixed_mm,
                                      const std::vector<Feature>& features,
                                      const AlignOptions& options) {
  const Question common = question_of(fixed, moving, moving_from_fixed_mm, options);
  std::vector<Question> questions;
  std::vector<std::optional<std::vector<FeatureVote>>> answers;
  std::vector<Feature> unknown;
  for (const Feature& feature : features) {
    questions.push_back(common + feature.name + '\0');
    add(questions.back(), feature.region);
    const std::scoped_lock lock(mutex_);
    answers.push_back(known(votes_, questions.back()));
    if (!answers.back()) unknown.push_back(feature);
  }
  const auto cast = alignment::vote(fixed, moving, moving_from_fixed_mm, unknown, options);
  std::vector<FeatureVote> votes;
  for (std::size_t i = 0; i < features.size(); ++i) {
    if (!answers[i]) {
      answers[i] = of_feature(cast, features[i].name);
      const std::scoped_lock lock(mutex_);
      keep(votes_, most_, questions[i], *answers[i]);
    }
    votes.insert(votes.end(), answers[i]->begin(), answers[i]->end());
  }
  return votes;
}

std::size_t Memory::size() {
  const std::scoped_lock lock(mutex_);
  return alignments_.size() + votes_.size();
}

}  // namespace tidemark::alignment

#include "remember.h"

#include <utility>

#include "packed_fields.h"
#include "tidemark/core/hash.h"

namespace tidemark::followup {
namespace {

using packed::Packer;
using packed::Unpacker;

/// Names a film as a step sees it. Its bytes decide its pixels but for the sense of grey, which
/// some pixels tell: every 4099th. (House choice.)
void pack_film(Packer& pack, const film::FilmImage& film) {
  constexpr std::size_t kStride = 4099;
  pack(film.facts.sha256);
  pack(film.stored_from_view);
  pack(film.pixels.width);
  pack(film.pixels.height);
  for (std::size_t i = 0; i < film.pixels.values.size(); i += kStride) pack(film.pixels.values[i]);
}

/// Whether a step sees the lines that were found on a film.
enum class Lines { kUnseen, kSeen };

/// All of a film that a remembered step can see; canal and pelvis are for the seat alone.
void pack_hip(Packer& pack, const HipFilm& film, Lines lines) {
  const auto& [hip_view, side, role, from_side, from_behind, implant, femur, scale, scale_u_own,
               in_pixels, lucency, surface_pose, side_view, canal, pelvis, pelvis_reason] = film;
  pack_film(pack, hip_view);
  pack(side);
  pack(role);
  pack(from_side);
  pack(from_behind);
  pack(implant);
  pack(femur);
  pack(scale);
  pack(scale_u_own);
  pack(in_pixels);
  if (lines == Lines::kSeen) pack(lucency);
  pack(surface_pose);
  pack(side_view);
}

std::string key_of(Packer& pack) {
  const std::string bytes = pack.take();
  return sha256_hex(bytes);
}

Packer question(const char* step) {
  Packer pack;
  pack(std::string(step));
  return pack;
}

/// The answer from before; one that cannot be read back counts as none.
template <class T>
std::optional<Expected<T>> recalled(Ledger& ledger, const std::string& key,
                                    const std::string& subject) {
  const auto bytes = ledger.recall(key, subject);
  if (!bytes) return {};
  Unpacker unpack(*bytes);
  bool answered = false;
  unpack(answered);
  if (answered) {
    T value;
    unpack(value);
    if (unpack.done()) return Expected<T>(std::move(value));
  } else {
    Error error;
    unpack(error);
    if (unpack.done()) return Expected<T>(tl::unexpected(std::move(error)));
  }
  return {};
}

template <class T>
void note(Ledger& ledger, const std::string& key, const std::string& subject,
          const Expected<T>& answer) {
  Packer pack;
  pack(answer.has_value());
  answer ? pack(*answer) : pack(answer.error());
  ledger.note(key, subject, pack.take());
}

template <class T, class Compute>
Expected<T> answered(Ledger& ledger, const std::string& key, const std::string& subject,
                     const Compute& compute) {
  if (auto before = recalled<T>(ledger, key, subject)) return std::move(*before);
  Expected<T> answer = compute();
  note(ledger, key, subject, answer);
  return answer;
}

std::string subject_of(const std::string& reference_sha256, const std::string& follow_up_sha256) {
  return reference_sha256 + "/" + follow_up_sha256;
}

}  // namespace

std::string name_of(const HipFilm& film) {
  Packer pack = question("prepare");
  pack_hip(pack, film, Lines::kUnseen);
  return key_of(pack);
}

namespace {

/// `prepare` is put off where its outcome is known: what it makes is needed for pairs only that are
/// compared anew.
class LatePreparation {
 public:
  using Ready = std::shared_ptr<const PreparedHip>;
  using Prepare = std::function<Expected<Ready>(const HipFilm&)>;
  using Compare =
      std::function<Expected<migration::Migration>(const FilmOfPair&, const FilmOfPair&)>;

  LatePreparation(Prepare prepare, Ledger& ledger)
      : prepare_(std::move(prepare)), ledger_(ledger) {}

  /// Empty where it is put off.
  Expected<Ready> prepare(const HipFilm& film) {
    const std::string key = name_of(film);
    const std::string subject = film.hip_view.facts.sha256;
    if (const auto before = recalled<bool>(ledger_, key, subject)) {
      if (!*before) return tl::unexpected(before->error());
      return Ready();
    }
    auto ready = prepare_(film);
    note<bool>(ledger_, key, subject,
               ready ? Expected<bool>(true) : Expected<bool>(tl::unexpected(ready.error())));
    return ready;
  }

  /// What `step` says of two films, each prepared by now.
  Expected<migration::Migration> compare(const FilmOfPair& reference, const FilmOfPair& follow_up,
                                         const Compare& step) {
    Ready second = follow_up.ready;
    if (!second) {
      auto late = prepare_(follow_up.hip);
      if (!late) return tl::unexpected(late.error());
      second = std::move(*late);
    }
    Ready first = reference.ready;
    if (!first) {
      auto late = reference_ready(reference.hip);
      if (!late) return tl::unexpected(late.error());
      first = std::move(*late);
    }
    return step({reference.hip, std::move(first)}, {follow_up.hip, std::move(second)});
  }

 private:
  /// The one reference film of a series, prepared once.
  Expected<Ready> reference_ready(const HipFilm& film) {
    const std::lock_guard lock(mutex_);
    if (!reference_) reference_ = prepare_(film);
    return *reference_;
  }

  Prepare prepare_;
  Ledger& ledger_;
  std::mutex mutex_;
  std::optional<Expected<Ready>> reference_;
};

/// The steps that look at one film.
void remember_films(Steps& out, Ledger& ledger) {
  out.find_implant = [step = out.find_implant, &ledger](const film::FilmImage& film,
                                                        const anatomy::ImplantOptions& options) {
    anatomy::ImplantOptions searched = options;
    searched.given = anatomy::for_search(options.given);
    Packer pack = question("find_implant");
    pack_film(pack, film);
    pack(searched);
    auto found = answered<anatomy::Implant>(ledger, key_of(pack), film.facts.sha256,
                                            [&] { return step(film, searched); });
    if (found) return Expected<anatomy::Implant>(anatomy::with_given(std::move(*found), options));
    return found;
  };
  out.find_femur = [step = out.find_femur, &ledger](const film::FilmImage& film,
                                                    const anatomy::Implant& implant,
                                                    const anatomy::FemurOptions& options) {
    Packer pack = question("find_femur");
    pack_film(pack, film);
    pack(implant);
    pack(options);
    return answered<anatomy::Femur>(ledger, key_of(pack), film.facts.sha256,
                                    [&] { return step(film, implant, options); });
  };
  if (!out.look_for_lines) return;
  out.look_for_lines = [step = out.look_for_lines, &ledger](
                           const film::FilmImage& film, const anatomy::Implant& implant,
                           const lucency::LucencyOptions& options) {
    Packer pack = question("look_for_lines");
    pack_film(pack, film);
    pack(implant);
    pack(options);
    return answered<lucency::FilmLucency>(ledger, key_of(pack), film.facts.sha256,
                                          [&] { return step(film, implant, options); });
  };
}

/// The steps that look at the seat on the reference film.
void remember_seat(Steps& out, Ledger& ledger) {
  const auto ask = [](const char* what, const film::FilmImage& film,
                      const anatomy::Implant& implant, const anatomy::Femur& femur,
                      MillimetresPerPixel scale) {
    Packer pack = question(what);
    pack_film(pack, film);
    pack(implant);
    pack(femur);
    pack(scale);
    return key_of(pack);
  };
  if (out.read_canal) {
    out.read_canal = [step = out.read_canal, ask, &ledger](
                         const film::FilmImage& film, const anatomy::Implant& implant,
                         const anatomy::Femur& femur, MillimetresPerPixel scale) {
      return answered<anatomy::CanalReading>(
                 ledger, ask("read_canal", film, implant, femur, scale), film.facts.sha256,
                 [&] { return Expected<anatomy::CanalReading>(step(film, implant, femur, scale)); })
          .value();
    };
  }
  if (!out.find_pelvis) return;
  out.find_pelvis = [step = out.find_pelvis, ask, &ledger](
                        const film::FilmImage& film, const anatomy::Implant& implant,
                        const anatomy::Femur& femur, MillimetresPerPixel scale) {
    return answered<anatomy::Pelvis>(ledger, ask("find_pelvis", film, implant, femur, scale),
                                     film.facts.sha256,
                                     [&] { return step(film, implant, femur, scale); });
  };
}

/// The steps that look at two films.
void remember_pairs(Steps& out, Ledger& ledger) {
  const auto ask = [](const char* what, const HipFilm& reference, const HipFilm& follow_up,
                      Lines lines) {
    Packer pack = question(what);
    pack_hip(pack, reference, lines);
    pack_hip(pack, follow_up, lines);
    return std::pair(key_of(pack),
                     subject_of(reference.hip_view.facts.sha256, follow_up.hip_view.facts.sha256));
  };
  const auto late = std::make_shared<LatePreparation>(out.prepare, ledger);
  out.prepare = [late](const HipFilm& film) { return late->prepare(film); };
  out.compare = [step = out.compare, late, ask, &ledger](const FilmOfPair& reference,
                                                         const FilmOfPair& follow_up) {
    const auto [key, subject] = ask("compare", reference.hip, follow_up.hip, Lines::kUnseen);
    return answered<migration::Migration>(
        ledger, key, subject, [&] { return late->compare(reference, follow_up, step); });
  };
  if (!out.compare_lines) return;
  out.compare_lines = [step = out.compare_lines, ask, &ledger](const HipFilm& reference,
                                                               const HipFilm& follow_up) {
    const auto [key, subject] = ask("compare_lines", reference, follow_up, Lines::kSeen);
    return answered<std::vector<lucency::ZoneChange>>(ledger, key, subject,
                                                      [&] { return step(reference, follow_up); });
  };
}

}  // namespace

std::optional<std::string_view> Ledger::recall(const std::string& key, const std::string& subject) {
  if (!before_) return {};
  const auto found = before_->said.find(key);
  if (found == before_->said.end()) return {};
  const std::lock_guard lock(mutex_);
  said_.said.insert(*found);
  recalled_.emplace(subject, true);
  return found->second;
}

void Ledger::note(const std::string& key, const std::string& subject, std::string answer) {
  const std::lock_guard lock(mutex_);
  said_.said.insert_or_assign(key, std::move(answer));
  recalled_[subject] = false;
}

bool Ledger::all_recalled(const std::string& subject) const {
  const std::lock_guard lock(mutex_);
  const auto found = recalled_.find(subject);
  return found != recalled_.end() && found->second;
}

Steps remembering(const Steps& steps, Ledger& ledger) {
  Steps out = steps;
  // Counts the steps: one that is added must be remembered here, or left out on purpose. Reading
  // is left out because it shows that a film is still the same, compare_together because each new
  // film changes what it is asked, the stem's surface because it costs little.
  [[maybe_unused]] const auto& [read, find_implant, find_femur, look_for_lines, read_canal,
                                find_pelvis, compare_lines, prepare, compare, compare_together,
                                read_stem, find_pose] = steps;
  remember_films(out, ledger);
  remember_seat(out, ledger);
  remember_pairs(out, ledger);
  return out;
}

Reuse reuse_of(const Result& result, Ledger& ledger) {
  Reuse out;
  for (std::size_t i = 0; i < result.films.size(); ++i) {
    const auto& sha256 = result.films[i].sha256;
    if (sha256 && ledger.all_recalled(*sha256)) out.films.push_back(i);
  }
  for (std::size_t i = 0; i < result.comparisons.size(); ++i) {
    const auto& first = result.films[result.comparisons[i].reference].sha256;
    const auto& second = result.films[result.comparisons[i].follow_up].sha256;
    if (first && second && ledger.all_recalled(subject_of(*first, *second))) {
      out.comparisons.push_back(i);
    }
  }
  out.said = ledger.take();
  return out;
}

}  // namespace tidemark::followup

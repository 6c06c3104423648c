#include "heap.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <map>
#include <set>
#include <tuple>

#include "tidemark/core/hash.h"
#include "tidemark/core/text.h"

namespace tidemark::registry {
namespace {

/// Kinds of radiographs (DICOM PS3.3 C.7.3.1.1.1); SC is what scanned films are stored as.
constexpr std::array<std::string_view, 8> kRadiographs{"DX", "CR", "RF", "XA",
                                                       "RG", "SC", "OT", ""};

/// Parts of words for the body part that a hip film may carry: PS3.16 Annex L and the words of some
/// countries. House choice; an empty body part is let through.
constexpr std::array<std::string_view, 8> kHipWords{"HIP",   "PELV", "FEMUR",  "THIGH",
                                                    "HUEFT", "HUFT", "BECKEN", "HANCHE"};

std::string upper(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return text;
}

bool is_hip_part(const std::string& body_part) {
  const std::string word = upper(body_part);
  return word.empty() || std::any_of(kHipWords.begin(), kHipWords.end(), [&](std::string_view w) {
           return word.find(w) != std::string::npos;
         });
}

struct Why {
  const char* kind;
  std::string reason;
};

/// Why a file is no film for this, by its header alone.
std::optional<Why> refused(const HeapFile& file) {
  if (!file.error.empty()) return Why{"unreadable", file.error};
  const auto modality = std::find(kRadiographs.begin(), kRadiographs.end(), file.modality);
  if (modality == kRadiographs.end()) {
    return Why{"other_modality", "it is no radiograph (modality " + printable(file.modality) + ")"};
  }
  if (!file.has_pixels) return Why{"no_pixels", "it holds no pixels"};
  if (!is_hip_part(file.body_part)) {
    return Why{"other_body_part", "its header names another part of the body"};
  }
  if (file.view == View::kLateral) {
    return Why{"lateral_view", "it is a lateral view; of a heap only AP and PA films are measured"};
  }
  if (file.view == View::kOther) {
    return Why{"other_view", "it is neither an AP nor a PA view"};
  }
  if (file.patient_id.empty()) {
    return Why{"patient_unknown", "its header does not say whose film it is"};
  }
  if (!file.date) return Why{"date_unknown", "its header does not say when it was taken"};
  return {};
}

/// One hip of one patient. The side is unknown when no film of the patient says it.
struct HeapHip {
  std::string patient;              ///< identity
  bool of_several_issuers = false;  ///< the id: a sheet by id does not tell whose facts it holds
  std::optional<Side> side;
  std::vector<HeapFile> films;  ///< by time
};

/// Sorts one heap.
class HeapSorter {
 public:
  HeapSorter(const std::optional<Sheet>& sheet, const std::optional<PseudonymKey>& key,
             const std::filesystem::path& root)
      : sheet_(sheet), key_(key), root_(root) {
    plan_.is_heap = true;
  }

  Plan sorted(std::vector<HeapFile> files) {
    std::sort(files.begin(), files.end(), [](const HeapFile& a, const HeapFile& b) {
      return std::tie(a.date, a.time, a.sha256, a.path) <
             std::tie(b.date, b.time, b.sha256, b.path);
    });
    std::vector<HeapFile> films;
    for (HeapFile& file : files) {
      if (auto why = refused(file)) {
        set_aside(file, "", *why);
      } else if (auto copy = copy_of(file)) {
        set_aside(file, "", *copy);
      } else {
        films.push_back(std::move(file));
      }
    }
    std::vector<HeapHip> hips = by_hip(std::move(films));
    name_patients(hips);
    for (HeapHip& hip : hips) add(hip);
    note_rows();
    std::sort(plan_.set_aside.begin(), plan_.set_aside.end(),
              [](const SetAside& a, const SetAside& b) {
                return std::tie(a.item, a.hip) < std::tie(b.item, b.hip);
              });
    return std::move(plan_);
  }

 private:
  /// What a file that was set aside is called: by its bytes, and one whose bytes have a name
  /// already by their number. Its path may be a patient's name, which a plain hash would give away
  /// to whoever tries names: without bytes and without a key it is a number in the order of paths.
  std::string item_of(const HeapFile& file, const std::string& hip, bool is_copy) {
    std::string item = file.sha256;
    if (item.empty()) {
      const std::string path = file.path.lexically_relative(root_).string();
      item = key_ ? hmac_sha256_hex(key_->bytes, "path\n" + path)
                  : sha256_hex(std::string_view("no bytes"));
    }
    if (!is_copy && items_.emplace(item, hip).second) return item;
    const std::string text = item + "\n" + std::to_string(++copies_[item]);
    return sha256_hex(text);
  }

  void set_aside(const HeapFile& file, const std::string& hip, const Why& why) {
    const bool is_copy = std::string_view(why.kind) == "copy";
    SetAside out{item_of(file, hip, is_copy), hip, why.kind, why.reason, {}};
    if (file.date) out.date = format_date(*file.date);
    plan_.set_aside.push_back(std::move(out));
    plan_.links.push_back({hip, why.kind, file.path});
  }

  std::optional<Why> copy_of(const HeapFile& file) {
    if (!hashes_.insert(file.sha256).second) {
      return Why{"copy", "the same bytes are there as another file"};
    }
    if (!file.object_uid.empty() && !uids_.insert(file.object_uid).second) {
      return Why{"copy", "the same film (SOP Instance UID) is there as another file"};
    }
    return {};
  }

  /// The id, with the issuer where one id comes from several of them.
  [[nodiscard]] std::vector<HeapHip> by_hip(std::vector<HeapFile> films) const {
    std::map<std::string, std::set<std::string>> issuers;
    for (const HeapFile& film : films) issuers[film.patient_id].insert(film.issuer);
    const auto several = [&](const HeapFile& film) { return issuers[film.patient_id].size() > 1; };
    std::map<std::string, std::vector<HeapFile>> patients;
    for (HeapFile& film : films) {
      const std::string issuer = several(film) ? "\n" + film.issuer : "";
      patients[film.patient_id + issuer].push_back(std::move(film));
    }
    std::vector<HeapHip> hips;
    for (auto& [patient, all] : patients) {
      const bool shared = several(all.front());
      std::set<Side> sides;
      for (const HeapFile& film : all) {
        if (film.side) sides.insert(*film.side);
      }
      if (sheet_ && !shared) {
        for (const SheetRow& row : sheet_->rows) {
          if (row.patient_id == all.front().patient_id && row.facts.side) {
            sides.insert(*row.facts.side);
          }
        }
      }
      if (sides.empty()) hips.push_back({patient, shared, {}, all});
      for (const Side side : sides) {  // a film of both hips serves each
        HeapHip hip{patient, shared, side, {}};
        for (const HeapFile& film : all) {
          if (!film.side || *film.side == side) hip.films.push_back(film);
        }
        if (!hip.films.empty()) hips.push_back(std::move(hip));
      }
    }
    return hips;
  }

  /// With a key by the key; else numbered in the order of the least hash of their films, which says
  /// nothing of the patient.
  void name_patients(const std::vector<HeapHip>& hips) {
    std::map<std::string, std::string> least;
    for (const HeapHip& hip : hips) {
      for (const HeapFile& film : hip.films) {
        auto [known, is_new] = least.emplace(hip.patient, film.sha256);
        if (!is_new) known->second = std::min(known->second, film.sha256);
      }
    }
    std::vector<std::pair<std::string, std::string>> order;
    order.reserve(least.size());
    for (const auto& [patient, hash] : least) order.emplace_back(hash, patient);
    std::sort(order.begin(), order.end());
    for (std::size_t i = 0; i < order.size(); ++i) {
      std::string number = std::to_string(i + 1);
      number.insert(0, number.size() < 6 ? 6 - number.size() : 0, '0');
      const std::string& patient = order[i].second;
      names_[patient] = key_ ? pseudonym(*key_, "P", "patient", patient) : "patient-" + number;
    }
  }

  /// A head of another patient would make every length wrong, a date of surgery of another one set
  /// films aside.
  static HipJob of_unknown_patient() {
    HipJob out;
    out.fault =
        "films of several issuers, or of one and of none, bear this patient's number, and the "
        "sheet does not say whose facts its lines hold; measure each issuer's films by themselves";
    return out;
  }

  /// The sheet's facts of a hip, from all its lines. Its films are those of the heap.
  HipJob facts_of(const HeapHip& hip) {
    if (!sheet_) return {};
    std::vector<SheetRow> rows;
    for (std::size_t i = 0; i < sheet_->rows.size(); ++i) {
      const SheetRow& row = sheet_->rows[i];
      const bool side = !row.facts.side || !hip.side || row.facts.side == hip.side;
      if (row.patient_id != hip.films.front().patient_id || !side) continue;
      used_.insert(i);
      rows.push_back(row);
      rows.back().folder.clear();
      rows.back().film = {};
    }
    if (rows.empty()) return {};
    if (hip.of_several_issuers) return of_unknown_patient();
    std::vector<const SheetRow*> all;
    all.reserve(rows.size());
    for (const SheetRow& row : rows) all.push_back(&row);
    return job_of_rows(all);
  }

  void add(HeapHip& hip) {
    HipJob job = facts_of(hip);
    job.early_films = EarlyFilms::kSetAside;
    const std::string& patient = names_[hip.patient];
    if (!job.facts.patient) job.facts.patient = patient;
    if (!job.facts.side) job.facts.side = hip.side;
    if (job.facts.hip.empty()) {
      const char* suffix = !hip.side ? "-X" : *hip.side == Side::kRight ? "-R" : "-L";
      job.facts.hip = patient + suffix;
    }
    for (const HeapFile& film : hip.films) {
      const bool before =
          job.facts.surgery_date && film.date && *film.date < *job.facts.surgery_date;
      if (before) {
        set_aside(film, job.facts.hip, {"before_surgery", "it was taken before the surgery"});
        continue;
      }
      plan_.links.push_back({job.facts.hip, "film-" + std::to_string(job.films.size()), film.path});
      FilmSource source;
      source.path = film.path;
      source.date = film.date;
      job.films.push_back(std::move(source));
    }
    if (job.films.empty() && job.fault.empty()) {
      job.fault = "every film of this hip is from before the surgery";
    }
    plan_.jobs.push_back(std::move(job));
  }

  void note_rows() {
    if (sheet_ && used_.size() < sheet_->rows.size()) {
      plan_.notes.push_back(std::to_string(sheet_->rows.size() - used_.size()) +
                            " rows of the sheet have no film in the heap");
    }
  }

  const std::optional<Sheet>& sheet_;
  const std::optional<PseudonymKey>& key_;
  const std::filesystem::path& root_;
  Plan plan_;
  std::set<std::string> hashes_;
  std::set<std::string> uids_;
  std::set<std::pair<std::string, std::string>> items_;  ///< set aside, with their hips
  std::map<std::string, int> copies_;
  std::map<std::string, std::string> names_;  ///< of patients
  std::set<std::size_t> used_;                ///< rows of the sheet
};

}  // namespace

Plan sort_heap(std::vector<HeapFile> files, const std::optional<Sheet>& sheet,
               const std::optional<PseudonymKey>& key, const std::filesystem::path& root) {
  return HeapSorter(sheet, key, root).sorted(std::move(files));
}

}  // namespace tidemark::registry

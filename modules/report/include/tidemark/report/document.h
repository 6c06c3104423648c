#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "tidemark/core/geometry.h"
#include "tidemark/followup/result.h"
#include "tidemark/report/drawing.h"
#include "tidemark/report/language.h"

namespace tidemark::report {

// What a report says, in order, apart from how it looks. Built once from a result; the HTML page
// and the PDF are written from the same document and therefore say the same.

/// Words, and whether they are English on a page in another language.
struct Phrase {
  std::string text;
  bool in_english = false;
};

enum class Tone {
  kPlain,
  kDoubt,  ///< why something must not be trusted as it stands
  kNote,   ///< small print
};

struct Paragraph {
  Phrase phrase;
  Tone tone = Tone::kPlain;
};

/// Points of a list, each with what it is about, where that needs saying.
struct Item {
  std::string about;
  Phrase phrase;
  bool about_in_english = false;  ///< likewise, on a page in another language
};
struct Items {
  std::vector<Item> items;
};

enum class CellRole {
  kValue,
  kOpen,    ///< cannot tell, not seen, not measured
  kStrong,  ///< to be looked at
  kWord,    ///< text, set flush left
  kCode,    ///< a digest or a file's name
};
struct Cell {
  Phrase phrase;
  CellRole role = CellRole::kValue;
};
/// The first cell of each row names the row. Every row has as many cells as there are columns.
struct Table {
  std::string id;  ///< unique on the page
  std::string caption;
  std::vector<std::string> columns;
  std::vector<std::vector<Cell>> rows;
};

/// Whether a column is set flush left: it holds words. Columns of numbers are set flush right.
[[nodiscard]] bool is_flush_left(const Table& table, std::size_t column);

/// Drawings side by side where there is room.
struct Figure {
  Drawing drawing;
  std::string title;
  std::string description;  ///< says what it shows, for those who cannot see it
};
struct Figures {
  std::vector<Figure> figures;
  std::string caption;
};

/// One film in the common frame of AlignedFilms, ready to be shown. Coordinates count from the
/// corner of the first pixel, as drawings do.
struct Plate {
  std::string title;  ///< role, date, day
  std::vector<unsigned char> jpeg;
  Polyline outline;  ///< of the stem, open at the head
  Circle2 head;
  std::optional<Vec2> tip;  ///< absent where the field ends above it
  Vec2 shoulder = Vec2::Zero();
  Vec2 reference = Vec2::Zero();  ///< the point whose motion is reported
};

/// A window of a plate, in its coordinates.
struct Window {
  double x = 0.0;
  double y = 0.0;
  double width = 0.0;
  double height = 0.0;
};

/// The reference film against one follow-up film, both aligned on the bone.
struct AlignedPair {
  std::size_t reference = 0;  ///< index in Document::plates
  std::size_t follow_up = 0;
  std::string title;
  std::string caption;
  std::string description;
  Window whole;
  Window at_shoulder;
  std::optional<Window> at_tip;  ///< absent where one of the films does not show the tip
};

/// A plate with what was read from it drawn on it, and the outline of its own stem.
struct MarkedPlate {
  std::size_t plate = 0;
  std::string title;
  std::string caption;
  std::string description;
  Drawing marks;  ///< in coordinates of the plate
};

using Block = std::variant<Paragraph, Items, Table, Figures, AlignedPair, MarkedPlate>;

struct Section {
  std::string id;
  std::string heading;
  std::vector<Block> blocks;
};

/// What the first sentence comes to. Told by a sign and by words, not by colour alone.
enum class Finding { kLook, kCalm, kOpen };

struct Headline {
  Finding finding = Finding::kOpen;
  Phrase sentence;
  std::optional<Phrase> measured;  ///< what was measured, where the sentence is a verdict
  std::vector<Phrase> doubts;      ///< what stands against it
};

/// A fact of the head of the page: "Hip", "H-0042".
struct Fact {
  std::string name;
  std::string value;
};

struct Document {
  Language language = Language::kEnglish;
  std::string title;
  std::optional<std::string> hip;  ///< its name in the sheet
  std::vector<Fact> facts;
  Headline headline;
  std::string caution;
  std::vector<Section> sections;
  std::vector<Plate> plates;
  double plate_width = 0.0;  ///< of every plate, px
  double plate_height = 0.0;
  double px_per_mm = 1.0;
  /// Of the latest film, else of the reference film; stands for the date of the PDF, so that the
  /// same films give the same bytes. ISO 8601.
  std::optional<std::string> date;
  std::string tool;  ///< name and version
};

/// What the report of a result says. Pictures come from Result::aligned; without it the document
/// has none. Holds no patient's identity, as the result holds none.
[[nodiscard]] Document document_of(const followup::Result& result, Language language);

}  // namespace tidemark::report

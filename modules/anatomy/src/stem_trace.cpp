#include "stem_trace.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {
namespace {

/// What one row tells about its columns. A pair of flanks is judged by means over stretches of the
/// row; those that hang on one flank alone are made once per column.
struct RowEvidence {
  std::vector<float> rise;    ///< edge evidence, -1 to 1: a lateral flank rises, a medial one falls
  std::vector<float> prefix;  ///< running sum of the levelled image, for means between columns
  std::vector<float> plain;   ///< running sum of the image as it is
  std::vector<float> before;  ///< mean of the 4 columns before each
  std::vector<float> after;   ///< mean of the 4 columns after each
  std::vector<float>
      rim_in;  ///< mean of the columns 2 to 4 after each: the rim within a left flank
  std::vector<float> rim_out;  ///< mean of the columns 2 to 4 before each: within a right flank
};

/// Mean over the columns a to b of the running sum of a row, both clamped to it.
float mean_between(const std::vector<float>& prefix, int a, int b) {
  const int last = static_cast<int>(prefix.size()) - 2;
  a = std::clamp(a, 0, last);
  b = std::clamp(b, a, last);
  return (prefix[static_cast<std::size_t>(b) + 1] - prefix[static_cast<std::size_t>(a)]) /
         static_cast<float>(b - a + 1);
}

void add_means(RowEvidence& e) {
  const auto n = e.rise.size();
  e.before.resize(n);
  e.after.resize(n);
  e.rim_in.resize(n);
  e.rim_out.resize(n);
  for (std::size_t i = 0; i < n; ++i) {
    const int c = static_cast<int>(i);
    e.before[i] = mean_between(e.prefix, c - 4, c - 1);
    e.after[i] = mean_between(e.prefix, c + 1, c + 4);
    e.rim_in[i] = mean_between(e.prefix, c + 2, c + 4);
    e.rim_out[i] = mean_between(e.prefix, c - 4, c - 2);
  }
}

/// Scores of all pairs of flanks in one row, (left, width), with a frame of impossible states round
/// them so that no step out of the table has to be asked for.
class ScoreTable {
 public:
  ScoreTable(int columns, int widths)
      : stride_(static_cast<std::size_t>(widths) + 2 * kFrame),
        cells_((static_cast<std::size_t>(columns) + 2) * stride_, kNever) {}

  /// Scores of all widths for one left flank, -1 to columns; valid from -kFrame.
  float* row(int left) { return &cells_[static_cast<std::size_t>(left + 1) * stride_ + kFrame]; }
  [[nodiscard]] const float* row(int left) const {
    return &cells_[static_cast<std::size_t>(left + 1) * stride_ + kFrame];
  }

  static constexpr float kNever = -std::numeric_limits<float>::infinity();

 private:
  static constexpr std::size_t kFrame = 2;
  std::size_t stride_;
  std::vector<float> cells_;
};

/// The best end of a path in one row.
struct RowBest {
  float score = ScoreTable::kNever;
  int left = 0;
  int width = 0;
};

class Tracer {
 public:
  Tracer(const cv::Mat1f& image, const FlankSearch& s) : s_(s), columns_(s_columns(image, s)) {
    x0_ = std::max(1, static_cast<int>(s.x_min));
    rows_ = std::min(image.rows - 1, s.last_row) - std::max(1, s.first_row) + 1;
    first_ = std::max(1, s.first_row);
    widths_ = s.width_max - s.width_min + 1;
    if (usable()) collect(image);
  }

  [[nodiscard]] bool usable() const { return rows_ >= 50 && columns_ > s_.width_min + 4; }
  std::optional<FlankTrace> run();

 private:
  static int s_columns(const cv::Mat1f& image, const FlankSearch& s) {
    const int x0 = std::max(1, static_cast<int>(s.x_min));
    return std::min(image.cols - 2, static_cast<int>(s.x_max)) - x0 + 1;
  }
  void collect(const cv::Mat1f& image);
  void judge(const RowEvidence& e, int left, int widths, std::vector<float>& out) const;
  [[nodiscard]] float edge_pair(int row, int left, int width) const;
  void first_row(ScoreTable& now);
  void next_row(int row, const ScoreTable& before, ScoreTable& now);
  [[nodiscard]] std::optional<std::size_t> fill();
  [[nodiscard]] std::vector<std::pair<int, int>> backtrack(int last) const;
  [[nodiscard]] int end_of_metal(const std::vector<std::pair<int, int>>& path) const;
  /// How many widths are possible from a left flank on.
  [[nodiscard]] int widths_at(int left) const {
    return std::clamp(columns_ - s_.width_min - left, 0, widths_);
  }
  [[nodiscard]] std::uint8_t& from(int row, int left, int width) {
    return from_[(static_cast<std::size_t>(row) * static_cast<std::size_t>(columns_) +
                  static_cast<std::size_t>(left)) *
                     static_cast<std::size_t>(widths_) +
                 static_cast<std::size_t>(width - s_.width_min)];
  }
  [[nodiscard]] std::uint8_t from(int row, int left, int width) const {
    return const_cast<Tracer*>(this)->from(row, left, width);
  }

  FlankSearch s_;
  int columns_ = 0, x0_ = 0, first_ = 0, rows_ = 0, widths_ = 0;
  std::vector<RowEvidence> evidence_;
  double contrast_ = 1.0;
  std::vector<RowBest> best_;
  std::vector<std::uint8_t> from_;  ///< step into each state: 3 (shift left + 1) + shift right + 1
};

/// Slope that the better part of metal's edges exceeds. Only the brighter half of the region
/// counts: skin against air is steep as well, but dark.
double usual_slope(const cv::Mat1f& image, const cv::Mat1f& slope) {
  const float middle = quantile(image, 0.5);
  std::vector<float> steep;
  for (int y = 0; y < image.rows; ++y) {
    for (int x = 0; x < image.cols; ++x) {
      if (image(y, x) >= middle) steep.push_back(std::abs(slope(y, x)));
    }
  }
  if (steep.empty()) return 1e-9;
  const auto at =
      steep.begin() + static_cast<std::ptrdiff_t>(0.95 * static_cast<double>(steep.size() - 1));
  std::nth_element(steep.begin(), at, steep.end());
  return *at;
}

/// The image with its local mean and contrast levelled: behind a pelvis metal may be brighter by a
/// multiple than beside the thigh, and its edges steeper, though it is the same metal.
cv::Mat1f levelled(const cv::Mat1f& image) {
  constexpr double kReach = 20.0;  // mm (pixels here)
  const cv::Mat1f mean = wide_blur(image, kReach, cv::BORDER_REPLICATE);
  const auto centred = value_of<cv::Mat1f>(image - mean);
  const cv::Mat1f square =
      wide_blur(value_of<cv::Mat1f>(centred.mul(centred)), kReach, cv::BORDER_REPLICATE);
  cv::Mat1f sd;
  cv::sqrt(cv::max(square, 0.0F), sd);
  const float floor = std::max(1e-9F, 0.4F * quantile(sd, 0.6));
  return value_of<cv::Mat1f>(centred / cv::max(sd, floor));
}

void Tracer::collect(const cv::Mat1f& image) {
  const cv::Mat1f level = levelled(image);
  const Gradient g = gradient(level);
  const cv::Rect roi(x0_, first_, columns_, rows_);
  const auto half = static_cast<float>(usual_slope(level(roi), g.x(roi)));
  contrast_ = std::max(1e-9, 3.0 * half);
  evidence_.resize(static_cast<std::size_t>(rows_));
  for (int r = 0; r < rows_; ++r) {
    RowEvidence& e = evidence_[static_cast<std::size_t>(r)];
    e.rise.resize(static_cast<std::size_t>(columns_));
    e.prefix.assign(static_cast<std::size_t>(columns_) + 1, 0.0F);
    e.plain.assign(static_cast<std::size_t>(columns_) + 1, 0.0F);
    for (int c = 0; c < columns_; ++c) {
      const auto i = static_cast<std::size_t>(c);
      const float gx = g.x(first_ + r, x0_ + c);
      const float gy = g.y(first_ + r, x0_ + c);
      e.rise[i] = gx / (length_of(gx, gy) + half + 1e-12F);
      e.prefix[i + 1] = e.prefix[i] + level(first_ + r, x0_ + c);
      e.plain[i + 1] = e.plain[i] + image(first_ + r, x0_ + c);
    }
    add_means(e);
  }
}

float Tracer::edge_pair(int row, int left, int width) const {
  const RowEvidence& e = evidence_[static_cast<std::size_t>(row)];
  return std::min(e.rise[static_cast<std::size_t>(left)],
                  -e.rise[static_cast<std::size_t>(left) + static_cast<std::size_t>(width)]);
}

/// Evidence of all pairs with one left flank: both edges, the weaker one counting more, and a body
/// brighter than what lies beside it.
void Tracer::judge(const RowEvidence& e, int left, int widths, std::vector<float>& out) const {
  const auto l = static_cast<std::size_t>(left);
  const float* prefix = e.prefix.data() + l;  // sums up to the left flank are prefix[0]
  const auto per_contrast = static_cast<float>(1.0 / contrast_);
  const float rise = e.rise[l];
  const float before = e.before[l];
  const float rim = e.rim_in[l];
  for (int i = 0; i < widths; ++i) {
    const int width = s_.width_min + i;
    const int third = width / 3;
    const auto right = l + static_cast<std::size_t>(width);
    const float fall = -e.rise[right];
    const float inside = (prefix[width - 1] - prefix[2]) / static_cast<float>(width - 3);
    const float beside = std::max(before, e.after[right]);
    const float step = std::clamp((inside - beside) * per_contrast, -1.0F, 1.0F);
    constexpr float kDome = 0.3F;  // a round or tapering section is thinner near its flanks
    // Metal is about as bright near its flanks as in its middle; a whole bone with a stem in it is
    // not.
    const float per_third = 1.0F / static_cast<float>(third);
    const float lateral = (prefix[third + 1] - prefix[1]) * per_third;
    const float middle =
        (prefix[width - third + 1] - prefix[third]) / static_cast<float>(width - 2 * third + 1);
    const float medial = (prefix[width] - prefix[width - third]) * per_third;
    const float brightest = std::max({lateral, middle, medial});
    const float rims = std::min(rim, e.rim_out[right]);
    const float whole = std::max(1e-6F, brightest - beside);
    const float hollow = std::clamp(((brightest - rims) / whole - kDome) / 0.4F, 0.0F, 1.0F);
    out[static_cast<std::size_t>(i)] =
        0.25F * (rise + fall) + 0.5F * std::min(rise, fall) + 0.5F * step - 0.6F * hollow;
  }
}

void Tracer::first_row(ScoreTable& now) {
  std::vector<float> pair(static_cast<std::size_t>(widths_));
  for (int left = 0; left < columns_; ++left) {
    const int widths = widths_at(left);
    judge(evidence_[0], left, widths, pair);
    std::copy_n(pair.begin(), widths, now.row(left));
  }
}

/// One row of the dynamic programme: each pair continues the best of the nine pairs whose flanks
/// lie one column or none away in the row above.
void Tracer::next_row(int row, const ScoreTable& before, ScoreTable& now) {
  const RowEvidence& e = evidence_[static_cast<std::size_t>(row)];
  std::vector<float> pair(static_cast<std::size_t>(widths_));
  std::vector<float> best(static_cast<std::size_t>(widths_));
  std::vector<int> step(static_cast<std::size_t>(widths_));
  RowBest& row_best = best_[static_cast<std::size_t>(row)];
  for (int left = 0; left < columns_; ++left) {
    const int widths = widths_at(left);
    if (widths == 0) break;
    judge(e, left, widths, pair);
    std::fill(best.begin(), best.end(), ScoreTable::kNever);
    for (int k = 0; k < 9; ++k) {
      const int dl = k / 3 - 1;
      const int dr = k % 3 - 1;  // shift of the right flank
      // Stems taper: a pair that widens distally is on its way to the cortices.
      const float bend = 0.06F * static_cast<float>(std::abs(dl) + std::abs(dr)) +
                         1.0F * static_cast<float>(std::max(0, dr - dl));
      const float* source = before.row(left - dl) + (dl - dr);
      float* value = best.data();
      int* which = step.data();
      for (int i = 0; i < widths; ++i) {
        const float candidate = source[i] - bend;
        which[i] = candidate > value[i] ? k : which[i];
        value[i] = candidate > value[i] ? candidate : value[i];
      }
    }
    float* out = now.row(left);
    std::uint8_t* from_here = &from(row, left, s_.width_min);
    for (int i = 0; i < widths; ++i) {
      out[i] = best[static_cast<std::size_t>(i)] + pair[static_cast<std::size_t>(i)];
      from_here[i] = static_cast<std::uint8_t>(step[static_cast<std::size_t>(i)]);
      if (out[i] > row_best.score) row_best = {out[i], left, s_.width_min + i};
    }
  }
}

std::vector<std::pair<int, int>> Tracer::backtrack(int last) const {
  std::vector<std::pair<int, int>> path(static_cast<std::size_t>(last) + 1);
  int left = best_[static_cast<std::size_t>(last)].left;
  int width = best_[static_cast<std::size_t>(last)].width;
  for (int r = last; r >= 0; --r) {
    path[static_cast<std::size_t>(r)] = {left, width};
    if (r == 0) break;
    const int k = from(r, left, width);
    const int right = left + width - (k % 3 - 1);
    left -= k / 3 - 1;
    width = right - left;
  }
  return path;
}

/// Grey of the body and of what lies beside it, row by row along a path.
struct Course {
  std::vector<double> body;
  std::vector<double> beside;
};

double median_of(const std::vector<double>& v, int from, int to) {
  std::vector<double> part(v.begin() + from, v.begin() + to);
  const auto mid = part.begin() + static_cast<std::ptrdiff_t>(part.size() / 2);
  std::nth_element(part.begin(), mid, part.end());
  return *mid;
}

/// Last row before the metal ends: the body stops standing out from what lies beside it, against
/// its own course over the 40 mm before. What lies beside it is a median over 26 mm: a wire round
/// the bone brightens a few of them and ends no stem.
int Tracer::end_of_metal(const std::vector<std::pair<int, int>>& path) const {
  Course course;
  for (int r = 0; r < static_cast<int>(path.size()); ++r) {
    const auto [left, width] = path[static_cast<std::size_t>(r)];
    const std::vector<float>& plain = evidence_[static_cast<std::size_t>(r)].plain;
    course.body.push_back(mean_between(plain, left + 2, left + width - 2));
    course.beside.push_back(0.5F * (mean_between(plain, left - 5, left - 2) +
                                    mean_between(plain, left + width + 2, left + width + 5)));
  }
  constexpr int kAhead = 6;
  constexpr int kAround = 10;
  const int rows = static_cast<int>(course.body.size());
  const auto step = [&](int from, int to) {
    return median_of(course.body, from, to) -
           median_of(course.beside, std::max(0, from - kAround), std::min(rows, to + kAround));
  };
  for (int r = 40; r + kAhead < rows; ++r) {
    if (step(r, r + kAhead) < 0.45 * step(r - 40, r - 4)) return r;
    // Widening by 4 mm within a centimetre is no stem: the path has left it for the cortices.
    const auto width = [&](int row) { return path[static_cast<std::size_t>(row)].second; };
    if (width(r + kAhead) - width(r - 4) >= 4) return r - 2;
  }
  return rows - 1;
}

/// The stem ends where going on no longer pays: every row costs a toll, a real pair of metal flanks
/// earns more than it, anything beyond the tip earns less. Below the tip the bone itself is a fair
/// pair of edges, and a path may go on with it for ever; so the end is looked for row by row.
class Ledger {
 public:
  /// Books one more row; true when the end is known.
  bool book(float score) {
    scores_.push_back(score);
    const std::size_t rows = scores_.size();
    if (rows == kShortest + 1) {
      toll_ = std::clamp(0.6F * score / static_cast<float>(rows), 0.45F, 0.62F);
    }
    if (rows <= kShortest) return false;
    if (!end_ || net(rows - 1) > net(*end_)) end_ = rows - 1;
    if (rows <= kShortest + kAhead) return false;
    const std::size_t r = rows - 1 - kAhead;
    const float usual = net(r) / static_cast<float>(r + 1);
    return usual > 0.0F && net(rows - 1) - net(r) < 0.3F * usual * kAhead;
  }

  /// The row to end at; absent when there is none.
  [[nodiscard]] std::optional<std::size_t> end() const { return end_; }

 private:
  static constexpr std::size_t kShortest = 40;
  static constexpr std::size_t kAhead = 15;
  [[nodiscard]] float net(std::size_t row) const {
    return scores_[row] - toll_ * static_cast<float>(row + 1);
  }
  std::vector<float> scores_;
  std::optional<std::size_t> end_;
  float toll_ = 0.0F;
};

/// Runs the dynamic programme until the stem's end is known; the row it ends at, if any.
std::optional<std::size_t> Tracer::fill() {
  best_.assign(static_cast<std::size_t>(rows_), {});
  from_.assign(static_cast<std::size_t>(rows_) * static_cast<std::size_t>(columns_) *
                   static_cast<std::size_t>(widths_),
               0);
  ScoreTable before(columns_, widths_);
  ScoreTable now(columns_, widths_);
  first_row(before);
  Ledger ledger;
  bool known = false;
  ledger.book(0.0F);  // no row that early is ever an end
  for (int r = 1; r < rows_ && !known; ++r) {
    next_row(r, before, now);
    std::swap(before, now);
    known = ledger.book(best_[static_cast<std::size_t>(r)].score);
  }
  return ledger.end();
}

std::optional<FlankTrace> Tracer::run() {
  const auto paid_until = fill();
  if (!paid_until) return std::nullopt;
  const int last = static_cast<int>(*paid_until);
  const auto path = backtrack(last);
  const int end = std::min(last, end_of_metal(path));
  FlankTrace trace;
  trace.first_row = first_;
  double sum = 0.0;
  for (int r = 0; r <= end; ++r) {
    const auto [left, width] = path[static_cast<std::size_t>(r)];
    trace.left.push_back(x0_ + left);
    trace.right.push_back(x0_ + left + width);
    sum += std::clamp(static_cast<double>(edge_pair(r, left, width)), -1.0, 1.0);
  }
  trace.length = end + 1;
  trace.evidence = sum / trace.length;
  return trace;
}

}  // namespace

std::optional<FlankTrace> trace_flanks(const cv::Mat1f& image, const FlankSearch& search) {
  // A stem runs down the film: what is bright over less than 9 mm of it, a wire round the bone or a
  // screw across it, is no part of a flank and must not end one.
  cv::Mat1f along_stem;
  cv::morphologyEx(image, along_stem, cv::MORPH_OPEN,
                   cv::getStructuringElement(cv::MORPH_RECT, {1, 9}));
  Tracer tracer(along_stem, search);
  if (!tracer.usable()) return std::nullopt;
  return tracer.run();
}

}  // namespace tidemark::anatomy

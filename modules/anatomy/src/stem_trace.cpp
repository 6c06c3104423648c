#include "stem_trace.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

namespace tidemark::anatomy {
namespace {

/// Edge evidence of one row: rise at a lateral flank, fall at a medial flank, -1 to 1.
struct RowEvidence {
  std::vector<float> rise;
  std::vector<float> prefix;  ///< running sum of the levelled image, for means between two columns
  std::vector<float> plain;   ///< running sum of the image as it is
};

class Tracer {
 public:
  Tracer(const cv::Mat1f& image, const FlankSearch& s) : s_(s), columns_(s_columns(image, s)) {
    x0_ = std::max(1, static_cast<int>(s.x_min));
    rows_ = std::min(image.rows - 1, s.last_row) - std::max(1, s.first_row) + 1;
    first_ = std::max(1, s.first_row);
    widths_ = s.width_max - s.width_min + 1;
    if (rows_ > 0 && columns_ > s.width_min + 2) collect(image);
  }

  [[nodiscard]] bool usable() const { return rows_ >= 50 && columns_ > s_.width_min + 4; }
  std::optional<FlankTrace> run();

 private:
  static int s_columns(const cv::Mat1f& image, const FlankSearch& s) {
    const int x0 = std::max(1, static_cast<int>(s.x_min));
    return std::min(image.cols - 2, static_cast<int>(s.x_max)) - x0 + 1;
  }
  void collect(const cv::Mat1f& image);
  [[nodiscard]] float unary(int row, int left, int width) const;
  [[nodiscard]] float edge_pair(int row, int left, int width) const;
  void fill();
  [[nodiscard]] std::vector<std::pair<int, int>> backtrack(int last, int state) const;
  [[nodiscard]] int end_of_metal(const std::vector<std::pair<int, int>>& path) const;
  [[nodiscard]] int state_of(int left, int width) const {
    return left * widths_ + (width - s_.width_min);
  }

  FlankSearch s_;
  int columns_ = 0, x0_ = 0, first_ = 0, rows_ = 0, widths_ = 0;
  std::vector<RowEvidence> evidence_;
  double contrast_ = 1.0;
  std::vector<std::vector<float>> score_;
  std::vector<std::vector<std::int16_t>> from_;
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
      e.rise[i] = gx / (std::hypot(gx, gy) + half + 1e-12F);
      e.prefix[i + 1] = e.prefix[i] + level(first_ + r, x0_ + c);
      e.plain[i + 1] = e.plain[i] + image(first_ + r, x0_ + c);
    }
  }
}

float Tracer::edge_pair(int row, int left, int width) const {
  const RowEvidence& e = evidence_[static_cast<std::size_t>(row)];
  return std::min(e.rise[static_cast<std::size_t>(left)],
                  -e.rise[static_cast<std::size_t>(left) + static_cast<std::size_t>(width)]);
}

/// Both edges, the weaker one counting more, and a body brighter than what lies beside it.
float Tracer::unary(int row, int left, int width) const {
  const RowEvidence& e = evidence_[static_cast<std::size_t>(row)];
  const int right = left + width;
  const float rise = e.rise[static_cast<std::size_t>(left)];
  const float fall = -e.rise[static_cast<std::size_t>(right)];
  const auto mean = [&](int a, int b) {  // columns a..b
    a = std::clamp(a, 0, columns_ - 1);
    b = std::clamp(b, a, columns_ - 1);
    return (e.prefix[static_cast<std::size_t>(b) + 1] - e.prefix[static_cast<std::size_t>(a)]) /
           static_cast<float>(b - a + 1);
  };
  const float inside = mean(left + 2, right - 2);
  const float beside = std::max(mean(left - 4, left - 1), mean(right + 1, right + 4));
  const auto contrast = static_cast<float>(contrast_);
  const float step = std::clamp((inside - beside) / contrast, -1.0F, 1.0F);
  constexpr float kDome = 0.3F;  // a round or tapering section is thinner near its flanks
  // Metal is about as bright near its flanks as in its middle; a whole bone with a stem in it is
  // not.
  const float brightest =
      std::max({mean(left + 1, left + width / 3), mean(left + width / 3, right - width / 3),
                mean(right - width / 3, right - 1)});
  const float rims = std::min(mean(left + 2, left + 4), mean(right - 4, right - 2));
  const float whole = std::max(1e-6F, brightest - beside);
  const float hollow = std::clamp(((brightest - rims) / whole - kDome) / 0.4F, 0.0F, 1.0F);
  return 0.25F * (rise + fall) + 0.5F * std::min(rise, fall) + 0.5F * step - 0.6F * hollow;
}

void Tracer::fill() {
  const int states = columns_ * widths_;
  const float never = -std::numeric_limits<float>::infinity();
  score_.assign(static_cast<std::size_t>(rows_),
                std::vector<float>(static_cast<std::size_t>(states), never));
  from_.assign(static_cast<std::size_t>(rows_),
               std::vector<std::int16_t>(static_cast<std::size_t>(states), -1));
  for (int r = 0; r < rows_; ++r) {
    auto& now = score_[static_cast<std::size_t>(r)];
    for (int left = 0; left + s_.width_min < columns_; ++left) {
      for (int width = s_.width_min; width <= s_.width_max && left + width < columns_; ++width) {
        float best = r == 0 ? 0.0F : never;
        std::int16_t from = -1;
        for (int k = 0; r > 0 && k < 9; ++k) {
          const int dl = k / 3 - 1;
          const int dr = k % 3 - 1;  // shift of the right flank
          const int pl = left - dl;
          const int pw = (left + width - dr) - pl;
          if (pl < 0 || pw < s_.width_min || pw > s_.width_max || pl + pw >= columns_) continue;
          // Stems taper: a pair that widens distally is on its way to the cortices.
          const float widening = 1.0F * static_cast<float>(std::max(0, dr - dl));
          const float bend = 0.06F * static_cast<float>(std::abs(dl) + std::abs(dr)) + widening;
          const float candidate =
              score_[static_cast<std::size_t>(r) - 1][static_cast<std::size_t>(state_of(pl, pw))] -
              bend;
          if (candidate > best) {
            best = candidate;
            from = static_cast<std::int16_t>(k);
          }
        }
        const auto at = static_cast<std::size_t>(state_of(left, width));
        now[at] = best + unary(r, left, width);
        from_[static_cast<std::size_t>(r)][at] = from;
      }
    }
  }
}

std::vector<std::pair<int, int>> Tracer::backtrack(int last, int state) const {
  std::vector<std::pair<int, int>> path(static_cast<std::size_t>(last) + 1);
  int left = state / widths_;
  int width = state % widths_ + s_.width_min;
  for (int r = last;; --r) {
    path[static_cast<std::size_t>(r)] = {left, width};
    const int k =
        from_[static_cast<std::size_t>(r)][static_cast<std::size_t>(state_of(left, width))];
    if (r == 0 || k < 0) break;
    const int right = left + width - (k % 3 - 1);
    left -= k / 3 - 1;
    width = right - left;
  }
  return path;
}

/// Last row before the body stops standing out from what lies beside it, against its own course
/// over the 40 mm before.
int Tracer::end_of_metal(const std::vector<std::pair<int, int>>& path) const {
  std::vector<double> step;
  for (int r = 0; r < static_cast<int>(path.size()); ++r) {
    const auto [left, width] = path[static_cast<std::size_t>(r)];
    const RowEvidence& e = evidence_[static_cast<std::size_t>(r)];
    const auto mean = [&](int a, int b) {
      a = std::clamp(a, 0, columns_ - 1);
      b = std::clamp(b, a, columns_ - 1);
      return (e.plain[static_cast<std::size_t>(b) + 1] - e.plain[static_cast<std::size_t>(a)]) /
             static_cast<float>(b - a + 1);
    };
    step.push_back(mean(left + 2, left + width - 2) -
                   0.5 * (mean(left - 5, left - 2) + mean(left + width + 2, left + width + 5)));
  }
  constexpr int kAhead = 6;
  for (int r = 40; r + kAhead < static_cast<int>(step.size()); ++r) {
    std::vector<double> before(step.begin() + std::max(0, r - 40), step.begin() + r - 4);
    std::nth_element(before.begin(),
                     before.begin() + static_cast<std::ptrdiff_t>(before.size() / 2), before.end());
    double ahead = 0.0;
    for (int k = 0; k < kAhead; ++k)
      ahead += step[static_cast<std::size_t>(r) + static_cast<std::size_t>(k)] / kAhead;
    if (ahead < 0.45 * before[before.size() / 2]) return r;
    // Widening by 4 mm within a centimetre is no stem: the path has left it for the cortices.
    const auto width = [&](int row) { return path[static_cast<std::size_t>(row)].second; };
    if (width(r + kAhead) - width(r - 4) >= 4) return r - 2;
  }
  return static_cast<int>(step.size()) - 1;
}

/// Row after which the best path no longer earns as it did: below the tip the bone itself is a fair
/// pair of edges, and a path may go on with it for ever. -1 when there is no row to end at.
int where_it_stops_paying(const std::vector<float>& net) {
  constexpr int kShortest = 40;
  constexpr int kAhead = 15;
  const int n = static_cast<int>(net.size());
  int best = -1;
  for (int r = kShortest; r < n; ++r) {
    const float value = net[static_cast<std::size_t>(r)];
    if (best < 0 || value > net[static_cast<std::size_t>(best)]) best = r;
    const float usual = value / static_cast<float>(r + 1);
    if (r + kAhead < n && usual > 0.0F &&
        net[static_cast<std::size_t>(r) + kAhead] - value < 0.3F * usual * kAhead) {
      return best;
    }
  }
  return best;
}

std::optional<FlankTrace> Tracer::run() {
  fill();
  // The stem ends where going on no longer pays: every row costs a toll, a real pair of metal
  // flanks earns more than it, anything beyond the tip earns less.
  const auto& start = score_[std::min(score_.size() - 1, std::size_t{40})];
  const float usual = *std::max_element(start.begin(), start.end()) / 41.0F;
  const float toll = std::clamp(0.6F * usual, 0.45F, 0.62F);
  std::vector<float> net;
  for (int r = 0; r < rows_; ++r) {
    const auto& now = score_[static_cast<std::size_t>(r)];
    net.push_back(*std::max_element(now.begin(), now.end()) - toll * static_cast<float>(r + 1));
  }
  const int last = where_it_stops_paying(net);
  const auto& ends = score_[static_cast<std::size_t>(std::max(0, last))];
  const int state = static_cast<int>(std::max_element(ends.begin(), ends.end()) - ends.begin());
  if (last < 0) return std::nullopt;
  const auto path = backtrack(last, state);
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
  Tracer tracer(image, search);
  if (!tracer.usable()) return std::nullopt;
  return tracer.run();
}

}  // namespace tidemark::anatomy

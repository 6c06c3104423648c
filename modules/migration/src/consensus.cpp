#include "consensus.h"

#include <Eigen/Dense>
#include <algorithm>
#include <bit>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <numeric>

namespace tidemark::migration {
namespace {

constexpr std::size_t kMost = 10;  ///< opinions; features and landmarks are seven
constexpr int kMostRows = 2 * static_cast<int>(kMost);
/// Wild opinions in one story: of seven at a share of 0.1, more are wild once in 370 pairs.
constexpr int kMostWild = 3;

using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, kMostRows, 1>;
using Matrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMostRows, kMostRows>;
/// Columns: subsidence, and medial shift where anything is read across the shaft.
using Design = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, kMostRows, 2>;
using Shift = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, 2, 1>;
using ShiftMatrix = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, 2, 2>;
/// Rows of a PoseVector's levers.
using Levers = Eigen::Matrix<double, Eigen::Dynamic, PoseVector::RowsAtCompileTime, 0, kMostRows,
                             PoseVector::RowsAtCompileTime>;
using Influence = Eigen::Matrix<double, Eigen::Dynamic, kDepths, 0, kMostRows, kDepths>;

Matrix outer(const Vector& v) { return v * v.transpose(); }

/// One number that an opinion gives: along the shaft or across it.
struct Row {
  std::size_t opinion = 0;
  bool along = true;
  Reading reading;
  int depth = 0;  ///< depth_index of its feature
};

std::vector<Row> rows_of(const std::vector<Opinion>& opinions) {
  std::vector<Row> rows;
  for (std::size_t i = 0; i < opinions.size(); ++i) {
    const int depth = depth_index(opinions[i].feature);
    if (opinions[i].along) rows.push_back({i, true, *opinions[i].along, depth});
    if (opinions[i].across) rows.push_back({i, false, *opinions[i].across, depth});
  }
  return rows;
}

/// The readings as vectors, and the covariance each source of error gives them.
struct Table {
  std::vector<Row> rows;
  Depths depths;
  Vector y;
  Design design;
  Matrix own, scale;
  Matrix pose;   ///< of what is open about each pose
  Matrix depth;  ///< of the depths of the rows' features, mm^2
  Matrix rim;    ///< of the depth at which the stem's shoulder is seen: rows along, mm^2
  Matrix apart;  ///< of what a feature's depth across differs from that along, mm^2
  Levers lever;
  PoseMatrix about_draw;
  std::size_t opinions = 0;
};

/// What each part of a change of pose does to an opinion at (x, l): see PoseDraw.
PoseVector lever_of(const Vec2& at, double depth_mm, bool along) {
  const double x = at.x();
  const double l = at.y();
  const double d = depth_mm;
  if (along) return PoseVector{{d, x, -l, 0.0, 0.0, l * l - d * d, x * l}};
  return PoseVector{{0.0, 0.0, 0.0, d, -x, x * l, x * x - d * d}};
}

void fill_depths(const Trust& trust, Table& t) {
  const auto n = static_cast<Eigen::Index>(t.rows.size());
  t.depth = Matrix::Zero(n, n);
  t.rim = Matrix::Zero(n, n);
  t.apart = Matrix::Zero(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Row& a = t.rows[static_cast<std::size_t>(i)];
    for (Eigen::Index j = 0; j < n; ++j) {
      const Row& b = t.rows[static_cast<std::size_t>(j)];
      t.depth(i, j) = t.depths.covariance(a.depth, b.depth);
      if (a.along && b.along) t.rim(i, j) = trust.shoulder_depth_mm * trust.shoulder_depth_mm;
    }
    if (!a.along) t.apart(i, i) = trust.depths_apart_mm * trust.depths_apart_mm;
  }
}

Table table_of(const std::vector<Opinion>& opinions, const SharedErrors& shared,
               const Trust& trust) {
  Table t;
  t.rows = rows_of(opinions);
  t.depths = shared.depths;
  t.opinions = opinions.size();
  t.about_draw = shared.pose.about_draw;
  const auto n = static_cast<Eigen::Index>(t.rows.size());
  const bool both =
      std::any_of(t.rows.begin(), t.rows.end(), [](const Row& r) { return !r.along; });
  t.y = Vector(n);
  t.design = Design::Zero(n, both ? 2 : 1);
  t.own = Matrix::Zero(n, n);
  t.lever.resize(n, Eigen::NoChange);
  Vector turn(n);
  Vector size(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Row& row = t.rows[static_cast<std::size_t>(i)];
    const Opinion& o = opinions[row.opinion];
    t.y(i) = row.reading.value;
    t.design(i, row.along ? 0 : 1) = 1.0;
    t.lever.row(i) = lever_of(o.at, t.depths.mean_mm(row.depth), row.along).transpose();
    turn(i) = row.along ? o.at.x() : -o.at.y();
    size(i) = row.along ? o.at.y() : o.at.x();
    t.own(i, i) = row.reading.variance;
    if (i > 0 && t.rows[static_cast<std::size_t>(i - 1)].opinion == row.opinion) {
      t.own(i, i - 1) = t.own(i - 1, i) = o.covariance;
    }
  }
  t.own += shared.angle_u * shared.angle_u * outer(turn);
  t.scale = shared.scale_u * shared.scale_u * outer(size);
  t.pose = t.lever * t.about_draw * t.lever.transpose();
  fill_depths(trust, t);
  return t;
}

/// What depth does to a row in one pose: along by flexion, across by rotation.
double by_depth(const Row& row, const PoseDraw& pose) {
  return row.along ? pose.flexion : pose.rolled;
}

/// Covariance of what the depths do in one pose.
Matrix depth_covariance(const Table& t, const PoseDraw& pose) {
  const double ff = pose.flexion * pose.flexion + t.about_draw(0, 0);
  const double fr = pose.flexion * pose.rolled + t.about_draw(0, 3);
  const double rr = pose.rolled * pose.rolled + t.about_draw(3, 3);
  const auto n = static_cast<Eigen::Index>(t.rows.size());
  Matrix out(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const bool a = t.rows[static_cast<std::size_t>(i)].along;
    for (Eigen::Index j = 0; j < n; ++j) {
      const bool b = t.rows[static_cast<std::size_t>(j)].along;
      out(i, j) = (a != b ? fr : (a ? ff : rr)) * t.depth(i, j);
    }
  }
  return out + ff * t.rim + rr * t.apart;
}

/// A story: which opinions are wild, whether the bone slid, how far the stem may have gone
/// medially.
struct Doubt {
  double log_prior = 0.0;
  Matrix added;  ///< covariance that it adds to the readings, mm^2
  double medial_sd_mm = 0.0;
};

/// The choices of one story.
struct Choice {
  unsigned wild = 0;  ///< a bit for each opinion
  bool slid = false;
  bool far = false;
};

Doubt doubt_of(const Table& t, const std::vector<bool>& registered, const Choice& choice,
               const Trust& trust) {
  const auto n = static_cast<Eigen::Index>(t.rows.size());
  Doubt d{0.0, Matrix::Zero(n, n), choice.far ? trust.medial_far_mm : trust.medial_mm};
  d.log_prior = std::log(choice.far ? trust.medial_far : 1.0 - trust.medial_far) +
                std::log(choice.slid ? trust.slid : 1.0 - trust.slid);
  const auto is_wild = [&](std::size_t opinion) { return ((choice.wild >> opinion) & 1U) != 0; };
  for (std::size_t k = 0; k < registered.size(); ++k) {
    const double share = registered[k] ? trust.wild : trust.landmark_wild;
    d.log_prior += std::log(is_wild(k) ? share : 1.0 - share);
  }
  Vector along = Vector::Zero(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Row& row = t.rows[static_cast<std::size_t>(i)];
    const bool by_registration = registered[row.opinion];
    if (row.along && by_registration) along(i) = 1.0;
    if (!is_wild(row.opinion)) continue;
    d.added(i, i) += std::pow(by_registration ? trust.wild_mm : trust.landmark_wild_mm, 2);
  }
  if (choice.slid) d.added += trust.slid_mm * trust.slid_mm * outer(along);
  return d;
}

/// All stories with a chance, in a fixed order.
std::vector<Doubt> doubts_of(const Table& t, const std::vector<Opinion>& opinions,
                             const Trust& trust) {
  std::vector<bool> registered;
  registered.reserve(opinions.size());
  for (const Opinion& o : opinions) registered.push_back(o.kind == VoteKind::kRegistered);
  const bool may_slide = std::find(registered.begin(), registered.end(), true) != registered.end();
  const bool across = t.design.cols() == 2;
  std::vector<Doubt> out;
  for (unsigned wild = 0; wild < (1U << t.opinions); ++wild) {
    if (std::popcount(wild) > kMostWild) continue;
    for (const bool slid : {false, true}) {
      for (const bool far : {false, true}) {
        if ((slid && !may_slide) || (far && !across)) continue;
        Doubt d = doubt_of(t, registered, {wild, slid, far}, trust);
        if (std::isfinite(d.log_prior)) out.push_back(std::move(d));
      }
    }
  }
  return out;
}

/// What a pose makes of the readings, whatever the story.
struct InPose {
  Matrix by_pose;
  Matrix sound;  ///< covariance when no opinion is wild
  Vector y;      ///< less what the pose explains
  double log_probability = 0.0;
};

InPose in_pose(const Table& t, const PoseDraw& pose) {
  InPose out;
  out.by_pose = t.pose + depth_covariance(t, pose);
  out.sound = t.own + out.by_pose + t.scale;
  out.y = t.y - t.lever * vector_of(pose);
  out.log_probability = std::log(pose.probability);
  return out;
}

/// Generalised least squares of one story in one pose.
struct Solved {
  Eigen::LLT<Matrix> readings;  ///< factor of their covariance
  ShiftMatrix covariance;       ///< of (subsidence, medial shift)
  Shift mean;
  Vector rest;
  double log_evidence = 0.0;  ///< up to a constant
};

std::optional<Solved> solve(const Table& t, const InPose& pose, const Doubt& doubt) {
  Solved out{Eigen::LLT<Matrix>(pose.sound + doubt.added), {}, {}, {}, 0.0};
  if (out.readings.info() != Eigen::Success) return std::nullopt;
  const Design column = out.readings.solve(t.design);
  ShiftMatrix information = t.design.transpose() * column;
  const auto n = information.cols();
  const double medial = n == 2 ? 1.0 / (doubt.medial_sd_mm * doubt.medial_sd_mm) : 0.0;
  if (n == 2) information(1, 1) += medial;
  const Eigen::LLT<ShiftMatrix> shift(information);
  if (shift.info() != Eigen::Success) return std::nullopt;
  out.covariance = shift.solve(ShiftMatrix::Identity(n, n));
  out.mean = out.covariance * (column.transpose() * pose.y);
  out.rest = pose.y - t.design * out.mean;
  double log_determinants = n == 2 ? -std::log(medial) : 0.0;
  for (Eigen::Index i = 0; i < pose.y.size(); ++i) {
    log_determinants += 2.0 * std::log(out.readings.matrixLLT()(i, i));
  }
  for (Eigen::Index i = 0; i < n; ++i) log_determinants += 2.0 * std::log(shift.matrixLLT()(i, i));
  const double medial_square = n == 2 ? out.mean(1) * out.mean(1) * medial : 0.0;
  out.log_evidence =
      pose.log_probability + doubt.log_prior -
      0.5 * (out.rest.dot(out.readings.solve(out.rest)) + medial_square + log_determinants);
  return out;
}

/// A story's answer in one pose; probability still as a logarithm, up to a constant.
struct Telling {
  Story story;
  AcrossConsensus medial;
  double own, pose, scale;
  std::size_t draw;
  std::size_t doubt;
};

/// The medial shift by the readings alone: what was presumed of it is taken off again. (Of a mean m
/// and variance v that hold a prior of mean 0 and variance s^2: m / (1 - v/s^2), v / (1 - v/s^2).)
AcrossConsensus unpresumed(const Solved& solved, double medial_sd_mm) {
  constexpr double kLeast = 1e-3;  // readings that say next to nothing
  const double variance = solved.covariance(1, 1);
  const double read = std::max(kLeast, 1.0 - variance / (medial_sd_mm * medial_sd_mm));
  return {solved.mean(1) / read, variance / read};
}

Telling telling_of(const Table& t, const InPose& pose, const Doubt& doubt, const Solved& solved) {
  const Vector w = solved.readings.solve(t.design * solved.covariance.col(0));
  Telling out{};
  out.story = {solved.log_evidence, solved.mean(0), solved.covariance(0, 0)};
  if (solved.mean.size() == 2) out.medial = unpresumed(solved, doubt.medial_sd_mm);
  out.own = w.dot((t.own + doubt.added) * w);
  out.pose = w.dot(pose.by_pose * w);
  if (solved.mean.size() == 2) {
    // What the medial shift's own spread does: it stands between rotation and depth.
    out.pose += std::pow(solved.covariance(0, 1) / doubt.medial_sd_mm, 2);
  }
  out.scale = w.dot(t.scale * w);
  return out;
}

/// The tellings of some draws (each `step`-th) by some stories.
std::vector<Telling> tell(const Table& t, const std::vector<PoseDraw>& poses, std::size_t step,
                          const std::vector<Doubt>& doubts, const std::vector<std::size_t>& which) {
  std::vector<Telling> out;
  out.reserve((poses.size() / step + 1) * which.size());
  for (std::size_t i = step / 2; i < poses.size(); i += step) {
    const InPose pose = in_pose(t, poses[i]);
    for (const std::size_t k : which) {
      const auto solved = solve(t, pose, doubts[k]);
      if (!solved) continue;
      out.push_back(telling_of(t, pose, doubts[k], *solved));
      out.back().draw = i;
      out.back().doubt = k;
    }
  }
  return out;
}

/// Probabilities out of logarithms, without the stories that have next to none.
void normalise(std::vector<Telling>& tellings) {
  constexpr double kNone = 1e-7;  // of the best
  double best = tellings.front().story.probability;
  for (const Telling& t : tellings) best = std::max(best, t.story.probability);
  double sum = 0.0;
  for (Telling& t : tellings) {
    t.story.probability = std::exp(t.story.probability - best);
    sum += t.story.probability;
  }
  std::erase_if(tellings, [](const Telling& t) { return t.story.probability < kNone; });
  for (Telling& t : tellings) t.story.probability /= sum;
}

/// Every story in every pose would be 65,000 solutions; those that say next to nothing in each
/// 16th pose are left out in the others.
std::vector<Telling> tell_all(const Table& t, const std::vector<PoseDraw>& poses,
                              const std::vector<Doubt>& doubts) {
  constexpr std::size_t kStep = 16;
  constexpr double kShareLeftOut = 1e-4;
  std::vector<std::size_t> which(doubts.size());
  std::iota(which.begin(), which.end(), std::size_t{0});
  if (poses.size() >= 4 * kStep) {
    std::vector<Telling> probe = tell(t, poses, kStep, doubts, which);
    if (!probe.empty()) normalise(probe);
    std::vector<double> share(doubts.size(), 0.0);
    for (const Telling& p : probe) share[p.doubt] += p.story.probability;
    std::erase_if(which, [&](std::size_t k) { return share[k] < kShareLeftOut; });
  }
  std::vector<Telling> out = tell(t, poses, 1, doubts, which);
  if (!out.empty()) normalise(out);
  return out;
}

AcrossConsensus medial_of(const std::vector<Telling>& tellings) {
  AcrossConsensus out;
  for (const Telling& t : tellings) out.mean += t.story.probability * t.medial.mean;
  for (const Telling& t : tellings) {
    out.variance +=
        t.story.probability * (t.medial.variance + std::pow(t.medial.mean - out.mean, 2));
  }
  return out;
}

/// The draws as the votes weigh them. What is open about each draw stays as it was: the votes would
/// narrow it too, but it is a sixteenth of the variance.
PoseByAll pose_by_all(const std::vector<Telling>& tellings, const PoseChange& pose) {
  PoseByAll out{.flexion_square = pose.about_draw(0, 0), .rolled_square = pose.about_draw(3, 3)};
  for (const Telling& t : tellings) {
    const PoseDraw& draw = pose.draws[t.draw];
    const double p = t.story.probability;
    out.flexion_mean += p * draw.flexion;
    out.flexion_square += p * draw.flexion * draw.flexion;
    out.rolled_mean += p * draw.rolled;
    out.rolled_square += p * draw.rolled * draw.rolled;
  }
  return out;
}

/// Variance that the doubt about the pose makes: of the means given each pose.
double between_poses(const std::vector<Telling>& tellings, double mean, std::size_t poses) {
  std::vector<double> weight(poses, 0.0);
  std::vector<double> moment(poses, 0.0);
  for (const Telling& t : tellings) {
    weight[t.draw] += t.story.probability;
    moment[t.draw] += t.story.probability * (t.story.mean - mean);
  }
  double out = 0.0;
  for (std::size_t i = 0; i < poses; ++i) {
    if (weight[i] > 0.0) out += moment[i] * moment[i] / weight[i];
  }
  return out;
}

/// The depths after one story in one pose: conditional mean and covariance of a linear model whose
/// shifts were estimated with it.
Depths depths_in(const Table& t, const InPose& pose, const PoseDraw& draw, const Doubt& doubt) {
  Depths out = t.depths;
  const auto solved = solve(t, pose, doubt);
  if (!solved) return out;
  const auto n = static_cast<Eigen::Index>(t.rows.size());
  Influence cross(n, kDepths);  // of the readings with the depths
  for (Eigen::Index i = 0; i < n; ++i) {
    const Row& row = t.rows[static_cast<std::size_t>(i)];
    cross.row(i) = by_depth(row, draw) * t.depths.covariance.row(row.depth);
  }
  const Influence weighed = solved->readings.solve(cross);
  const Design column = solved->readings.solve(t.design);
  const Eigen::Matrix<double, Eigen::Dynamic, kDepths, 0, 2, kDepths> by_shift =
      column.transpose() * cross;
  out.mean_mm += weighed.transpose() * solved->rest;
  out.covariance -=
      cross.transpose() * weighed - by_shift.transpose() * solved->covariance * by_shift;
  return out;
}

/// The likeliest tellings that hold nearly all of the probability together.
std::vector<const Telling*> those_that_matter(const std::vector<Telling>& tellings) {
  constexpr double kShare = 0.99;
  std::vector<const Telling*> out;
  out.reserve(tellings.size());
  for (const Telling& told : tellings) out.push_back(&told);
  std::stable_sort(out.begin(), out.end(), [](const Telling* a, const Telling* b) {
    return a->story.probability > b->story.probability;
  });
  double sum = 0.0;
  const auto enough = std::find_if(out.begin(), out.end(), [&sum](const Telling* told) {
    const bool full = sum >= kShare;
    sum += told->story.probability;
    return full;
  });
  out.erase(enough, out.end());
  return out;
}

/// Mean and covariance of the depths over all tellings that matter. Each has little probability of
/// its own: there are 256 poses, and some hundred stories.
Depths depths_after(const Table& t, const std::vector<PoseDraw>& poses,
                    const std::vector<Doubt>& doubts, const std::vector<Telling>& tellings) {
  double sum = 0.0;
  DepthVector first = DepthVector::Zero();
  DepthMatrix second = DepthMatrix::Zero();
  for (const Telling* told : those_that_matter(tellings)) {
    const double p = told->story.probability;
    const Depths d =
        depths_in(t, in_pose(t, poses[told->draw]), poses[told->draw], doubts[told->doubt]);
    sum += p;
    first += p * d.mean_mm;
    second += p * (d.covariance + d.mean_mm * d.mean_mm.transpose());
  }
  if (!(sum > 0.0)) return t.depths;
  Depths out;
  out.mean_mm = first / sum;
  out.covariance = second / sum - out.mean_mm * out.mean_mm.transpose();
  return out;
}

}  // namespace

std::optional<Consensus> consensus(const std::vector<Opinion>& opinions, const SharedErrors& shared,
                                   const Trust& trust) {
  const bool any_along = std::any_of(opinions.begin(), opinions.end(),
                                     [](const Opinion& o) { return o.along.has_value(); });
  if (!any_along || opinions.size() > kMost) return std::nullopt;
  const Table table = table_of(opinions, shared, trust);
  const std::vector<Doubt> doubts = doubts_of(table, opinions, trust);
  const std::vector<PoseDraw>& poses = shared.pose.draws;
  const std::vector<Telling> tellings = tell_all(table, poses, doubts);
  if (tellings.empty()) return std::nullopt;
  Consensus c;
  for (const Telling& t : tellings) c.mean += t.story.probability * t.story.mean;
  double between = 0.0;
  for (const Telling& t : tellings) {
    const double p = t.story.probability;
    between += p * std::pow(t.story.mean - c.mean, 2);
    c.own += p * t.own;
    c.pose += p * t.pose;
    c.scale += p * t.scale;
    c.stories.push_back(t.story);
  }
  const double by_pose = between_poses(tellings, c.mean, poses.size());
  c.pose += by_pose;
  c.own += std::max(0.0, between - by_pose);
  c.variance = c.own + c.pose + c.scale;
  if (table.design.cols() == 2) c.medial = medial_of(tellings);
  c.depths = depths_after(table, poses, doubts, tellings);
  c.seen = pose_by_all(tellings, shared.pose);
  return c;
}

double half_width_95(const Consensus& c, double added) {
  const auto missing = [&](double half) {
    double p = -0.95;
    for (const Story& s : c.stories) {
      const double scale = 1.0 / std::sqrt(2.0 * std::max(1e-18, s.variance + added));
      p +=
          0.5 * s.probability *
          (std::erf((c.mean + half - s.mean) * scale) - std::erf((c.mean - half - s.mean) * scale));
    }
    return p;
  };
  double high = std::max(1e-9, 2.0 * std::sqrt(c.variance + added));
  while (missing(high) < 0.0) {
    if (high > 1e6) return high;
    high *= 2.0;
  }
  std::uintmax_t most = 100;
  constexpr int kBits = 40;
  return boost::math::tools::toms748_solve(missing, 0.0, high,
                                           boost::math::tools::eps_tolerance<double>(kBits), most)
      .second;
}

}  // namespace tidemark::migration

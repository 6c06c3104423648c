# Reference values for the statistics of cohorts, from R's own packages. Run in this folder:
#   Rscript reference.R
# Debian 12: r-base-core r-cran-survival r-cran-nlme r-cran-lme4 r-cran-metafor r-cran-psych r-cran-vcd
# Writes the simulated data (*.csv) and reference.csv (name, value). The tests read these files and
# need no R. The data are simulated here and mean nothing.
suppressPackageStartupMessages({
  library(survival); library(nlme); library(lme4); library(metafor); library(psych); library(vcd)
})
names_out <- character(0); values_out <- numeric(0)
put <- function(name, values) {
  values <- as.numeric(values)
  full <- if (length(values) == 1) name else paste0(name, ".", seq_along(values) - 1)
  names_out <<- c(names_out, full); values_out <<- c(values_out, values)
}
set.seed(20260704)

# --- One sample -------------------------------------------------------------------------------
sample1 <- round(rnorm(23, 1.1, 0.6), 2)
write.csv(data.frame(value = sample1), "sample.csv", row.names = FALSE, quote = FALSE)
t1 <- t.test(sample1)
put("sample.mean", mean(sample1)); put("sample.sd", sd(sample1)); put("sample.mean_interval", t1$conf.int)
put("sample.median", median(sample1)); put("sample.quartiles", quantile(sample1, c(.25, .75), type = 7))
k <- qbinom(0.025, length(sample1), 0.5)        # P(B <= k - 1) <= 0.025 < P(B <= k)
put("sample.median_interval", sort(sample1)[c(k, length(sample1) + 1 - k)])
for (case in list(c(0, 10), c(3, 17), c(17, 17), c(250, 1000))) {
  put(sprintf("share.%d.%d", case[1], case[2]), binom.test(case[1], case[2])$conf.int)
}

# --- Survival: three groups, visits at set times (ties), late entry into trouble ---------------
n <- 60
visits <- c(0.12, 0.25, 0.5, 1, 2, 3, 4, 5)
d <- data.frame(group = rep(c("a", "b", "c"), each = n),
                t = c(rexp(n, 0.10), rexp(n, 0.25), rexp(n, 0.6)), c = runif(3 * n, 0.3, 6))
d$event <- as.integer(d$t <= d$c)
d$time <- ifelse(d$event == 1, visits[pmin(findInterval(d$t, visits) + 1, 8)], visits[pmax(findInterval(d$c, visits), 1)])
d <- d[, c("group", "time", "event")]
write.csv(d, "survival.csv", row.names = FALSE, quote = FALSE)
for (g in c("a", "b", "c")) {
  one <- d[d$group == g, ]
  for (type in c("plain", "log-log")) {
    fit <- survfit(Surv(time, event) ~ 1, data = one, conf.type = type)
    if (type == "plain") {
      put(paste0("km.", g, ".time"), fit$time); put(paste0("km.", g, ".risk"), fit$n.risk)
      put(paste0("km.", g, ".surv"), fit$surv); put(paste0("km.", g, ".se"), fit$surv * fit$std.err)
      put(paste0("km.", g, ".hazard"), fit$cumhaz)
      put(paste0("km.", g, ".plain_low"), fit$lower); put(paste0("km.", g, ".plain_high"), fit$upper)
    } else {
      put(paste0("km.", g, ".loglog_low"), fit$lower); put(paste0("km.", g, ".loglog_high"), fit$upper)
      q <- quantile(fit, 0.5)
      put(paste0("km.", g, ".median"), q$quantile)
      put(paste0("km.", g, ".median_low"), q$lower); put(paste0("km.", g, ".median_high"), q$upper)
    }
  }
}
lr <- survdiff(Surv(time, event) ~ group, data = d)
put("logrank3.chisq", lr$chisq); put("logrank3.p", pchisq(lr$chisq, 2, lower.tail = FALSE))
put("logrank3.observed", lr$obs); put("logrank3.expected", lr$exp)
lr2 <- survdiff(Surv(time, event) ~ group, data = d[d$group != "c", ])
put("logrank2.chisq", lr2$chisq)

# --- Mixed models -----------------------------------------------------------------------------
# Potthoff and Roy, Biometrika 51 (1964) 313: distance of two points of the jaw, 27 children at 8 to 14.
o <- as.data.frame(Orthodont)[, c("Subject", "Sex", "age", "distance")]
write.csv(o, "orthodont.csv", row.names = FALSE, quote = FALSE)
put_lme <- function(name, fixed, covariance, random, residual, loglik) {
  put(paste0(name, ".fixed"), fixed); put(paste0(name, ".fixed_covariance"), as.vector(covariance))
  put(paste0(name, ".random"), as.vector(random)); put(paste0(name, ".residual"), residual)
  put(paste0(name, ".loglik"), loglik)
}
m1 <- lme(distance ~ age, random = ~ age | Subject, data = o)
put_lme("orthodont.nlme", fixef(m1), vcov(m1), getVarCov(m1), m1$sigma, as.numeric(logLik(m1)))
m2 <- lmer(distance ~ age + (age | Subject), data = o,
           control = lmerControl(optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-12)))
put_lme("orthodont.lme4", fixef(m2), vcov(m2), VarCorr(m2)$Subject, sigma(m2), as.numeric(logLik(m2)))
put("orthodont.nlme.blup_M01", as.numeric(ranef(m1)["M01", ]))

# A cohort: settling reached after some weeks, a later rate from three months on, two groups,
# visits that differ and are missing, measurement u known for each.
hips <- 48
basis_settled <- function(days) 1 - exp(-days / 30)
basis_later <- function(days) pmax(0, days - 91.3125) / 365.25
rows <- list()
for (h in 1:hips) {
  group <- ifelse(h <= hips / 2, "a", "b")
  a <- ifelse(group == "a", 0.9, 1.3) + rnorm(1, 0, 0.4); r <- ifelse(group == "a", 0.05, 0.25) + rnorm(1, 0, 0.15)
  days <- round(c(42, 91, 182, 365, 730, 1461) + runif(6, -12, 12)); days <- days[runif(6) < 0.8]
  if (length(days) == 0) next
  u <- round(runif(length(days), 0.15, 0.45), 3)
  y <- a * basis_settled(days) + r * basis_later(days) + rnorm(length(days), 0, u) + rnorm(length(days), 0, 0.12)
  rows[[h]] <- data.frame(hip = sprintf("H%02d", h), group = group, days = days, subsidence_mm = round(y, 3), u_mm = u)
}
m <- do.call(rbind, rows)
write.csv(m, "migration.csv", row.names = FALSE, quote = FALSE)
m$s <- basis_settled(m$days); m$l <- basis_later(m$days); m$row <- seq_len(nrow(m))
m$ga <- as.numeric(m$group == "a"); m$gb <- as.numeric(m$group == "b")
m3 <- lmer(subsidence_mm ~ 0 + ga:s + gb:s + ga:l + gb:l + (0 + s + l | hip), data = m,
           control = lmerControl(optCtrl = list(xtol_abs = 1e-12, ftol_abs = 1e-12)))
put_lme("migration.lme4", fixef(m3), vcov(m3), VarCorr(m3)$hip, sigma(m3), as.numeric(logLik(m3)))
m4 <- lme(subsidence_mm ~ 0 + ga:s + gb:s + ga:l + gb:l, random = ~ 0 + s + l | hip, data = m)
put_lme("migration.nlme", fixef(m4), vcov(m4), getVarCov(m4), m4$sigma, as.numeric(logLik(m4)))
# The known u of each measurement, and a residual beyond it.
m5 <- rma.mv(subsidence_mm, u_mm^2, mods = ~ 0 + ga:s + gb:s + ga:l + gb:l, data = m, method = "REML",
             random = list(~ 0 + s + l | hip, ~ 1 | row), struct = "GEN",
             control = list(optimizer = "optim", optmethod = "BFGS", reltol = 1e-15, maxit = 2000))
put_lme("migration.metafor", coef(m5), vcov(m5), m5$G, sqrt(m5$sigma2), NA)
put("migration.metafor.has_loglik", as.numeric(logLik(m5)))
m6 <- rma.mv(subsidence_mm, u_mm^2, mods = ~ 0 + ga:s + gb:s + ga:l + gb:l, data = m, method = "REML",
             random = list(~ 0 + s + l | hip), struct = "GEN",
             control = list(optimizer = "optim", optmethod = "BFGS", reltol = 1e-15, maxit = 2000))
put_lme("migration.metafor_no_residual", coef(m6), vcov(m6), m6$G, 0, NA)

# --- Agreement --------------------------------------------------------------------------------
reads <- round(matrix(rnorm(30, 2, 0.8), 30, 3) + matrix(rnorm(90, 0, 0.3), 30, 3) + matrix(c(0, 0.2, -0.1), 30, 3, byrow = TRUE), 2)
write.csv(setNames(as.data.frame(reads), c("r1", "r2", "r3")), "readers.csv", row.names = FALSE, quote = FALSE)
icc <- suppressWarnings(ICC(reads, lmer = FALSE))$results
put("icc.value", icc$ICC); put("icc.low", icc[["lower bound"]]); put("icc.high", icc[["upper bound"]])
# Agresti, Categorical Data Analysis (1990), 2.6.3; 91 couples, four ordered answers.
tab <- unclass(SexualFun); write.table(tab, "agresti-1990.csv", sep = ",", row.names = FALSE, col.names = FALSE)
for (w in c("Equal-Spacing", "Fleiss-Cohen")) {
  fit <- Kappa(SexualFun, weights = w)
  put(paste0("kappa.", ifelse(w == "Equal-Spacing", "linear", "quadratic")), c(fit$Weighted["value"], fit$Weighted["ASE"]))
  put("kappa.none", c(fit$Unweighted["value"], fit$Unweighted["ASE"]))
}
cohen <- as.table(as.matrix(read.csv("../worked-examples/cohen-1960-kappa.csv", header = FALSE)))
fit <- Kappa(cohen); put("kappa.cohen1960", c(fit$Unweighted["value"], fit$Unweighted["ASE"]))

# --- Precision: one-way analysis of variance of the readers, each thing a group -----------------
long <- data.frame(y = as.vector(reads), thing = factor(rep(1:30, 3)))
ms <- anova(lm(y ~ thing, data = long))[["Mean Sq"]]
put("precision.sd", sqrt(ms[2])); put("precision.sd_interval", sqrt(60 * ms[2] / qchisq(c(.975, .025), 60)))
two <- lmer(y ~ 1 + (1 | thing), data = long)
put("precision.between_sd", attr(VarCorr(two)$thing, "stddev"))

keep <- !is.na(values_out) & !duplicated(names_out)
write.csv(data.frame(name = names_out[keep], value = formatC(values_out[keep], digits = 12, format = "g")),
          "reference.csv", row.names = FALSE, quote = FALSE)
cat(R.version.string, "survival", format(packageVersion("survival")), "nlme", format(packageVersion("nlme")),
    "lme4", format(packageVersion("lme4")), "metafor", format(packageVersion("metafor")),
    "psych", format(packageVersion("psych")), "vcd", format(packageVersion("vcd")), "\n")

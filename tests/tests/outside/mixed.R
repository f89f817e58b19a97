# The spread of probes by programs that are not ours.
#
# Rscript --vanilla mixed.R FOLDER N   reads FOLDER/batch0.csv .. batch(N-1).csv
#
# lmer of lme4 and, where each probe has cores of its own, lme of nlme, both by
# restricted likelihood with weights that are known; lm and anova for the F tests.
# Both searches are told to stop on nothing coarser than the last digits. One line a
# figure: program, batch, name, value.

suppressPackageStartupMessages({
  library(nlme)
  library(lme4)
})

said <- function(program, batch, name, value) {
  cat(sprintf("%s %d %s %.12e\n", program, batch, name, value), sep = "")
}

closely <- lmerControl(
  optimizer = "bobyqa", calc.derivs = FALSE,
  optCtrl = list(rhobeg = 0.2, rhoend = 1e-10, maxfun = 1e6)
)

with_lmer <- function(batch, data, fixed, shared) {
  # An offset in z leaves the fit as it is; its unit is chosen for the search.
  unit <- sd(data$z)
  data$zu <- data$z / unit
  random <- if (shared) "(1 + zu | probe) + (1 | core)" else "(1 + zu | probe)"
  model <- as.formula(paste("d ~ 0 +", fixed, "+", random))
  fit <- lmer(model, data, weights = w, REML = TRUE, control = closely)
  spread <- VarCorr(fit)
  said("lmer", batch, "offset", spread$probe[1, 1])
  said("lmer", batch, "both", spread$probe[1, 2] / unit)
  said("lmer", batch, "gain", spread$probe[2, 2] / unit^2)
  if (shared) said("lmer", batch, "core", spread$core[1, 1])
  said("lmer", batch, "residual", sigma(fit)^2)
  said("lmer", batch, paste0("b", seq_along(fixef(fit)) - 1), fixef(fit))
  said("lmer", batch, paste0("s", seq_along(fixef(fit)) - 1), sqrt(diag(as.matrix(vcov(fit)))))
  effects <- ranef(fit)$probe
  place <- sub("p", "", rownames(effects))
  said("lmer", batch, paste0("o", place), effects[, 1])
  said("lmer", batch, paste0("g", place), effects[, 2] / unit)
}

with_lme <- function(batch, data, fixed) {
  unit <- sd(data$z)
  data$zu <- data$z / unit
  data$v <- 1 / data$w
  fit <- lme(
    as.formula(paste("d ~ 0 +", fixed)), data, random = ~ 1 + zu | probe,
    weights = varFixed(~v), method = "REML",
    control = lmeControl(
      opt = "optim", tolerance = 1e-14, msTol = 1e-15, niterEM = 5000,
      msMaxIter = 1000, maxIter = 1000
    )
  )
  spread <- getVarCov(fit)
  said("lme", batch, "offset", spread[1, 1])
  said("lme", batch, "both", spread[1, 2] / unit)
  said("lme", batch, "gain", spread[2, 2] / unit^2)
  said("lme", batch, "residual", fit$sigma^2)
  said("lme", batch, paste0("b", seq_along(fixef(fit)) - 1), fixef(fit))
}

with_lm <- function(batch, data, fixed, shared) {
  terms <- if (shared) paste("core +", fixed) else fixed
  gradient <- gsub("\\+", "", fixed)
  own <- paste(paste0("probe:", strsplit(gradient, " +")[[1]]), collapse = " + ")
  model <- function(more) {
    lm(as.formula(paste("d ~ 0 +", terms, more)), data, weights = w)
  }
  one <- model("")
  offset <- model("+ probe")
  gain <- model("+ probe + probe:z")
  curve <- model(paste("+ probe +", own))
  compared <- function(a, b) anova(a, b)[2, c("F", "Pr(>F)")]
  said("lm", batch, "one-offset", compared(one, offset)[[1]])
  said("lm", batch, "p:one-offset", compared(one, offset)[[2]])
  said("lm", batch, "offset-gain", compared(offset, gain)[[1]])
  said("lm", batch, "one-own", compared(one, curve)[[1]])
}

arguments <- commandArgs(trailingOnly = TRUE)
for (batch in seq_len(as.integer(arguments[2])) - 1) {
  data <- read.csv(file.path(arguments[1], paste0("batch", batch, ".csv")))
  data$probe <- factor(data$probe)
  data$core <- factor(data$core)
  fixed <- paste(grep("^g", names(data), value = TRUE), collapse = " + ")
  shared <- nlevels(data$core) < nrow(data)
  with_lmer(batch, data, fixed, shared)
  if (!shared) with_lme(batch, data, fixed)
  with_lm(batch, data, fixed, shared)
}
cat("R", as.character(getRversion()), "nlme", as.character(packageVersion("nlme")),
    "lme4", as.character(packageVersion("lme4")), "\n")

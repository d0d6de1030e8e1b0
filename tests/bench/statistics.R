# The fits that tests/bench/statistics.ts measures ours beside. Called by it as
#
#   Rscript statistics.R FOLDER
#
# It says "ready" with the versions, then takes one word a line from its input, does what it names, and answers with
# the seconds that took and a number to check. Starting R and reading the data are not counted.
ready <- suppressPackageStartupMessages(requireNamespace("lme4", quietly = TRUE) && requireNamespace("survival", quietly = TRUE))
if (!ready) {
  cat("absent\n")
  quit(status = 0)
}
suppressPackageStartupMessages({
  library(lme4)
  library(survival)
})
folder <- commandArgs(trailingOnly = TRUE)[1]
table <- function(name) read.csv(file.path(folder, name))
lines <- split(table("lines.csv"), table("lines.csv")$line)
large <- table("large.csv")
lives <- table("lives.csv")
lives$from[lives$from < 0] <- NA
lives$to[lives$to < 0] <- NA

# Random slopes of the pieces about the slope of their line, from a common start; ML, as the fit beside it has no REML.
slopes <- function(data, starts = FALSE)
  suppressMessages(suppressWarnings(
    if (starts) lmer(value ~ usage + (1 + usage | piece), data, REML = FALSE)
    else lmer(value ~ 0 + usage + (0 + usage | piece), data, REML = FALSE)
  ))
tasks <- list(
  lines = function() sum(vapply(lines, function(data) as.numeric(logLik(slopes(data))), 0)),
  large = function() as.numeric(logLik(slopes(large))),
  intercepts = function() as.numeric(logLik(slopes(large, TRUE))),
  lives = function() survreg(Surv(from, to, type = "interval2") ~ 1, data = lives, dist = "weibull")$loglik[2]
)
cat("ready", R.version$major, R.version$minor, as.character(packageVersion("lme4")), as.character(packageVersion("survival")), "\n")
flush(stdout())
input <- file("stdin")
open(input)
while (length(word <- readLines(input, n = 1)) > 0) {
  started <- proc.time()[["elapsed"]]
  number <- tasks[[word]]()
  cat(word, proc.time()[["elapsed"]] - started, format(number, digits = 17), "\n")
  flush(stdout())
}

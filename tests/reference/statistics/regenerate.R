# Recomputes every value of cases.json from the data in this folder and compares. Usage: Rscript regenerate.R [case-id ...]
# Needs R with survival, lme4, numDeriv, jsonlite, statmod. Own code; formulas are explained in docs/methods.
BASE <- local({ a <- sub("^--file=","",grep("^--file=",commandArgs(FALSE),value=TRUE)); if (length(a)) dirname(normalizePath(a)) else "." })
suppressMessages({library(jsonlite);library(survival)})
num <- function(x) as.numeric(unlist(lapply(x,function(v) if(is.null(v)) NA else v)))
phi <- dnorm; Phi <- pnorm
erfcx <- function(x) { o <- x; i <- x < 10; o[i] <- exp(x[i]^2 + pnorm(-x[i]*sqrt(2), log.p=TRUE) + log(2)); y <- 1/(2*x[!i]^2); o[!i] <- 1/(x[!i]*sqrt(pi))*(1-y*(1-3*y*(1-5*y*(1-7*y*(1-9*y*(1-11*y*(1-13*y*(1-15*y)))))))); o }
## ---- life data: columns lower, upper (NA = right censored), entry, count -------------------
llf <- function(p, d, dist) {                     # p = (mu, log sigma), log-location-scale
  mu <- p[1]; s <- exp(p[2]); z <- function(t) (log(t)-mu)/s
  lS <- if (dist=="weibull") function(t) ifelse(t<=0,0,-exp(z(t))) else function(t) ifelse(t<=0,0,pnorm(z(t),lower.tail=FALSE,log.p=TRUE))
  lf <- if (dist=="weibull") function(t) -log(s)-log(t)+z(t)-exp(z(t)) else function(t) dnorm(z(t),log=TRUE)-log(s)-log(t)
  ex <- !is.na(d$upper) & d$lower==d$upper; rc <- is.na(d$upper); ic <- !ex & !rc
  l <- numeric(nrow(d)); l[ex] <- lf(d$lower[ex]); l[rc] <- lS(d$lower[rc])
  if (any(ic)) { a <- lS(d$lower[ic]); b <- lS(d$upper[ic]); l[ic] <- a + log(-expm1(b-a)) }
  e <- d$entry > 0; if (any(e)) l[e] <- l[e] - lS(d$entry[e])
  sum(d$count*l) }
newton <- function(f, p, it=60) { f0 <- f(p); for (i in 1:it) { G <- numDeriv::grad(f,p); H <- numDeriv::hessian(f,p); st <- tryCatch(solve(H,G),error=function(e) G*1e-3); if (any(eigen(H,TRUE,TRUE)$values>=0)) st <- -G/sqrt(sum(G^2))*0.1
  k <- 1; repeat { q <- p-k*st; fq <- f(q); if (is.finite(fq) && fq >= f0-1e-12) break; k <- k/2; if (k<1e-10) {q <- p; fq <- f0; break} }
  dp <- max(abs(q-p)); p <- q; f0 <- fq; if (dp<1e-11) break }; p }
mle <- function(d, dist) { x <- d$lower; x[x<=0] <- d$upper[x<=0]; m0 <- c(log(weighted.mean(x,d$count)), log(0.6))
  f <- function(p) llf(p,d,dist); o <- optim(m0, function(p) {v <- -f(p); if(is.finite(v)) v else 1e10}, control=list(maxit=4000,reltol=1e-14)); p <- newton(f,o$par)
  V <- solve(-numDeriv::hessian(f,p)); s <- exp(p[2]); r <- suppressWarnings(c(mu=p[1], sigma=s, se_mu=sqrt(V[1,1]), se_logsigma=sqrt(V[2,2]), se_sigma=s*sqrt(V[2,2]), loglik=f(p)))
  if (dist=="weibull") r <- suppressWarnings(c(r, eta=exp(p[1]), beta=1/s, se_eta=exp(p[1])*sqrt(V[1,1]), se_beta=sqrt(V[2,2])/s))
  attr(r,"V") <- V; r }
qls <- function(r, p, dist, conf=.95) { V <- attr(r,"V"); u <- if (dist=="weibull") log(-log1p(-p)) else qnorm(p)   # quantile + log-Wald interval
  g <- c(1, u*r[["sigma"]]); se <- sqrt(drop(t(g)%*%V%*%g)); lq <- r[["mu"]]+u*r[["sigma"]]; z <- qnorm(1-(1-conf)/2); c(exp(lq), exp(lq-z*se), exp(lq+z*se)) }
life <- function(D) { d <- as.data.frame(lapply(D,num)); if (is.null(d$count)) d$count <- 1; if (is.null(d$entry)) d$entry <- 0; d }
## ---- degradation: Gaussian state space -----------------------------------------------------
covm <- function(t, th) th$om^2 + th$tau^2*outer(t,t) + th$sB^2*outer(t,t,pmin) + th$s^2*diag(length(t))
wll <- function(U, th) sum(sapply(U,function(u){ K <- covm(u$t,th); r <- u$y-(th$al+th$mu*u$t); R <- chol(K); -sum(log(diag(R)))-0.5*sum(backsolve(R,r,transpose=TRUE)^2)-length(r)/2*log(2*pi) }))
kf <- function(t, y, th) { x <- c(th$al, th$mu); P <- diag(c(th$om^2, th$tau^2)); tp <- 0; ll <- 0
  for (j in seq_along(t)) { dt <- t[j]-tp; A <- matrix(c(1,0,dt,1),2); x <- A%*%x; P <- A%*%P%*%t(A); P[1,1] <- P[1,1]+th$sB^2*dt; tp <- t[j]
    S <- P[1,1]+th$s^2; v <- y[j]-x[1]; K <- P[,1]/S; ll <- ll-0.5*(log(2*pi*S)+v^2/S); x <- x+K*v; P <- P-K%*%t(P[1,]) }
  list(x=drop(x), P=P, ll=ll) }
wfit <- function(U, free, start) {                 # ML; free = names of parameters; sds on log scale
  sdn <- c("om","tau","sB","s"); mk <- function(p) { th <- list(al=0,mu=0,om=0,tau=0,sB=0,s=0); for (n in free) th[[n]] <- if (n %in% sdn) exp(p[[n]]) else p[[n]]*start$scale[[n]]; th }
  p <- sapply(free,function(n) if (n %in% sdn) log(start[[n]]) else start[[n]]/start$scale[[n]]); f <- function(p) { v <- tryCatch(-wll(U,mk(setNames(p,free))),error=function(e) 1e10); if (is.finite(v)) v else 1e10 }
  for (i in 1:6) p <- optim(p,f,control=list(maxit=5000,reltol=1e-15))$par
  p <- setNames(nlm(f,p,gradtol=1e-9,steptol=1e-12)$estimate,free); th <- mk(p); th$loglik <- -f(p); th }
F_drift <- function(l, d, m, v, s2) { S <- sqrt(s2*l+v*l*l); z <- (m*l-d)/S; w <- (m*l+d+2*v*d*l/s2)/S
  t2 <- ifelse(w>=0, 0.5*exp(-z^2/2)*erfcx(w/sqrt(2)), exp(2*m*d/s2+2*v*d^2/s2^2)*pnorm(-w)); pnorm(z)+t2 }
f_drift <- function(l, d, m, v, s2) { q <- v*l+s2; d/sqrt(2*pi*l^3*q)*exp(-(d-m*l)^2/(2*l*q)) }
F_level <- function(l, D, x, P, s2) { sx <- sqrt(P[1,1]); vb <- P[2,2]-P[1,2]^2/P[1,1]; F0 <- pnorm((x[1]-D)/sx)
  kb <- P[1,2]/P[1,1]; lo <- x[1]-9*sx; hi <- min(D,x[1]+9*sx)
  F <- sapply(l,function(L) { w <- sqrt(s2*L+vb*L^2)/abs(1+kb*L); us <- (D-(x[2]-kb*x[1])*L)/(1+kb*L); p <- sort(unique(pmin(pmax(c(lo,us-6*w,us,us+6*w,x[1],hi),lo),hi)))
    sum(mapply(function(a,b) integrate(function(u) dnorm(u,x[1],sx)*F_drift(L,D-u,x[2]+kb*(u-x[1]),vb,s2),a,b,rel.tol=1e-11,abs.tol=1e-16,subdivisions=1000)$value,p[-length(p)],p[-1])) })+F0
  list(F=F, F0=F0, Fc=(F-F0)/(1-F0)) }
rulq <- function(p, D, x, P, s2, hi) sapply(p,function(q) uniroot(function(l) F_level(l,D,x,P,s2)$Fc-q, c(hi*1e-6,hi), tol=hi*1e-10)$root)
units <- function(D) lapply(split(D,factor(D$unit,levels=unique(D$unit))),function(d) list(t=d$t,y=d$y))
crosst <- function(t, y, D) { j <- which(y>=D)[1]; if (is.na(j)) NA else if (j==1) t[1] else t[j-1]+(D-y[j-1])*(t[j]-t[j-1])/(y[j]-y[j-1]) }
## ---- scores ---------------------------------------------------------------------------------
crps_norm <- function(y,m,s){z<-(y-m)/s; s*(z*(2*pnorm(z)-1)+2*dnorm(z)-1/sqrt(pi))}
crps_exp <- function(y,r) y-2*(1-exp(-r*y))/r+1/(2*r)
crps_lnorm <- function(y,m,s){z<-(log(y)-m)/s; y*(2*pnorm(z)-1)-2*exp(m+s^2/2)*(pnorm(z-s)+pnorm(s/sqrt(2))-1)}
crps_weib <- function(y,k,sc){p<-pweibull(y,k,sc); g1<-gamma(1+1/k); y*(2*p-1)-sc*g1*(2*pgamma((y/sc)^k,1+1/k)-1)-sc*g1*(1-2^(-1/k))}
crps_gamma <- function(y,a,sc){ y*(2*pgamma(y,a,scale=sc)-1)-sc*a*(2*pgamma(y,a+1,scale=sc)-1)-sc/beta(0.5,a) }
crps_gamma <- function(y,a,sc){ y*(2*pgamma(y,a,scale=sc)-1)-sc*a*(2*pgamma(y,a+1,scale=sc)-1)-sc*a*gamma(a+.5)/(sqrt(pi)*gamma(a+1)) }
crps_cdf <- function(y,F,hi=Inf) integrate(function(x)F(x)^2,0,y,rel.tol=1e-10)$value+integrate(function(x)(1-F(x))^2,y,hi,rel.tol=1e-10)$value
crps_ens <- function(y,x){n<-length(x); mean(abs(x-y))-sum(abs(outer(x,x,"-")))/(2*n^2)}
crps_ens_fair <- function(y,x){n<-length(x); mean(abs(x-y))-sum(abs(outer(x,x,"-")))/(2*n*(n-1))}
## ---- leave-one-unit-out back-test (random drift through the origin) ---------------------------
bt_fit <- function(U, kind, start) {               # ML of (tau,sB,s) with mu profiled by GLS; kind "LMM" (sB=0) or "WME"
  key <- sapply(U,function(u) paste(u$t,collapse=",")); g <- function(p) { th <- list(om=0,tau=exp(p[1]),sB=if(kind=="LMM") 0 else exp(p[2]),s=exp(p[length(p)])); A <- b <- q <- ld <- 0
    for (k in unique(key)) { i <- which(key==k); t <- U[[i[1]]]$t; R <- chol(covm(t,th)); X <- backsolve(R,t,transpose=TRUE); Y <- backsolve(R,sapply(U[i],`[[`,"y"),transpose=TRUE); A <- A+length(i)*sum(X^2); b <- b+sum(X*Y); q <- q+sum(Y^2); ld <- ld+length(i)*2*sum(log(diag(R))) }
    mu <- b/A; list(f=ld+q-b*mu, mu=mu, A=A, th=th) }
  f <- function(p) { v <- tryCatch(g(p)$f,error=function(e) 1e10); if (is.finite(v)) v else 1e10 }
  p <- log(if (kind=="LMM") start[c(1,3)] else start); for (i in 1:4) p <- optim(p,f,control=list(maxit=3000,reltol=1e-13))$par; g(p) }
GL <- local({ n <- 20; i <- 1:(n-1); b <- i/sqrt(4*i^2-1); J <- matrix(0,n,n); J[cbind(i,i+1)] <- b; J[cbind(i+1,i)] <- b; e <- eigen(J,TRUE); list(x=e$values,w=2*e$vectors[1,]^2) })
bt_F <- function(l, D, x, P, s2) { sx <- sqrt(P[1,1]); F0 <- pnorm((x[1]-D)/sx)     # RUL CDF given level < D now
  if (s2<1e-14*abs(x[2])*D) { F <- pnorm((x[1]+x[2]*l-D)/sqrt(P[1,1]+2*l*P[1,2]+l^2*P[2,2])); F <- cummax(pmax(F,F0)) }
  else { lo <- x[1]-8*sx; hi <- min(D,x[1]+8*sx); kb <- P[1,2]/P[1,1]; vb <- max(P[2,2]-P[1,2]^2/P[1,1],0)
    F <- F0+sapply(l,function(L) { den <- 1+kb*L; w <- sqrt(s2*L+vb*L^2)/abs(den); us <- (D-(x[2]-kb*x[1])*L)/den; p <- sort(unique(pmin(pmax(c(lo,us-6*w,us,us+6*w,x[1]-3*sx,x[1],x[1]+3*sx,hi),lo),hi)))
      sum(mapply(function(a,b) { u <- (GL$x+1)/2*(b-a)+a; sum(GL$w*(b-a)/2*dnorm(u,x[1],sx)*F_drift(L,D-u,x[2]+kb*(u-x[1]),vb,s2)) },p[-length(p)],p[-1])) }) }
  pmin(pmax((F-F0)/(1-F0),0),1) }
backtest <- function(U, D, kind, start, kmin, grp=names(U)) { cache <- list(); names(grp) <- names(U); Z <- NULL; R <- NULL; hi <- 6*max(sapply(U,function(u) max(u$t))); L <- c(0,(seq(0,1,length.out=400)[-1])^2*hi)
  for (n in names(U)) { g <- grp[[n]]; if (is.null(cache[[g]])) cache[[g]] <- bt_fit(U[grp!=g],kind,start); f <- cache[[g]]; th <- f$th; th$mu <- f$mu; th$al <- 0; th$tau <- sqrt(th$tau^2+1/f$A); u <- U[[n]]; Tc <- crosst(u$t,u$y,D)
    for (k in kmin:(length(u$t)-1)) { K <- kf(u$t[1:k],u$y[1:k],th); h <- u$t[-(1:k)]-u$t[k]; m <- K$x[1]+K$x[2]*h; s <- sqrt(K$P[1,1]+2*h*K$P[1,2]+h^2*K$P[2,2]+th$sB^2*h+th$s^2); Z <- rbind(Z,cbind((u$y[-(1:k)]-m)/s,crps_norm(u$y[-(1:k)],m,s)))
      if (!is.na(Tc) && all(u$y[1:k]<D) && Tc>u$t[k]) { r <- Tc-u$t[k]; F <- c(0,cummax(bt_F(L[-1],D,K$x,K$P,th$sB^2))); q <- sapply(c(.025,.1,.25,.75,.9,.975),function(p) if (max(F)<p) Inf else approx(F[!duplicated(F)],L[!duplicated(F)],p,rule=2)$y)
        gr <- sort(c(L,r)); Fi <- approx(L,F,gr)$y; a <- Fi[-length(gr)]; b <- Fi[-1]; I <- as.numeric(gr[-length(gr)]>=r); a <- a-I; b <- b-I; R <- rbind(R,c(r>=q[3]&r<=q[4],r>=q[2]&r<=q[5],r>=q[1]&r<=q[6],sum(diff(gr)*(a*a+a*b+b*b)/3))) } } }
  c(n=nrow(Z),cov50=mean(abs(Z[,1])<qnorm(.75)),cov80=mean(abs(Z[,1])<qnorm(.9)),cov95=mean(abs(Z[,1])<qnorm(.975)),crps=mean(Z[,2]),rul_n=nrow(R),rul_cov50=mean(R[,1]),rul_cov80=mean(R[,2]),rul_cov95=mean(R[,3]),rul_crps=mean(R[,4])) }
rd <- function(C) read.csv(file.path(BASE, C$data$file))
lsfit_q <- function(y, X) { q <- qr(X, LAPACK=TRUE); b <- qr.coef(q,y); r <- y-X%*%b; s2 <- sum(r^2)/(length(y)-ncol(X)); V <- chol2inv(qr.R(qr(X/rep(sqrt(colSums(X^2)),each=nrow(X)))))
  q2 <- qr(X/rep(sqrt(colSums(X^2)),each=nrow(X)),tol=1e-20); sc <- sqrt(colSums(X^2)); p <- q2$pivot; se <- numeric(ncol(X)); se[p] <- sqrt(diag(chol2inv(qr.R(q2)))*s2)/sc[p]; b2 <- qr.coef(q2,y)/sc
  list(b=b2, se=se, rsd=sqrt(sum((y-X%*%b2)^2)/(length(y)-ncol(X)))) }
nist <- function(C, mk) { x <- num(C$data$x); y <- num(C$data$y); f <- lsfit_q(y, mk(x)); k <- length(f$b); c(setNames(f$b,paste0("B",0:(k-1))), setNames(f$se,paste0("se_B",0:(k-1))), residual_sd=f$rsd) }
poly_ <- function(k) function(x) outer(x,0:k,"^")
kmtab <- function(f, tt) { s <- summary(f,times=tt); c(setNames(s$surv,paste0("S_",tt)), setNames(s$std.err,paste0("se_",tt))) }
LAS <- function() { d <- read.csv(file.path(BASE,"data/laser.csv")); d <- d[d$t>0,]; units(d) }
TH <- function(C) { p <- C$parameters; list(al=0,mu=p$mu,om=0,tau=p$tau,sB=p$sigma_B,s=p$sigma_e) }
wres <- function(th, keep) { nm <- c(al="alpha",mu="mu",om="omega",tau="tau",sB="sigma_B",s="sigma_e",loglik="loglik"); setNames(unlist(th[keep]),nm[keep]) }
FUN <- list(
 "nist-norris"=function(C) { r <- nist(C,poly_(1)); y <- num(C$data$y); c(r,R_squared=1-r[["residual_sd"]]^2*(length(y)-2)/sum((y-mean(y))^2)) },
 "nist-pontius"=function(C) nist(C,poly_(2)),
 "nist-noint1"=function(C) { r <- nist(C,function(x) matrix(x)); setNames(r,c("B1","se_B1","residual_sd")) },
 "nist-longley"=function(C) { y <- num(C$data$y); X <- cbind(1,sapply(C$data$x,num)); f <- lsfit_q(y,X); c(setNames(f$b,paste0("B",0:6)),setNames(f$se,paste0("se_B",0:6)),residual_sd=f$rsd) },
 "nist-filip"=function(C) nist(C,poly_(10)),
 "nist-wampler1"=function(C) setNames(lsfit_q(num(C$data$y),poly_(5)(num(C$data$x)))$b,paste0("B",0:5)),
 "nist-wampler2"=function(C) setNames(lsfit_q(num(C$data$y),poly_(5)(num(C$data$x)))$b,paste0("B",0:5)),
 "tyre-wear-1953"=function(C) { w <- num(C$data$weight); g <- num(C$data$groove); m <- lm(g~w); s <- summary(m)$coef; p <- predict(m,data.frame(w=25),interval="prediction"); pc <- predict(m,data.frame(w=25),interval="confidence"); tt <- t.test(w,g,paired=TRUE)
   c(intercept=s[1,1],slope=s[2,1],se_intercept=s[1,2],se_slope=s[2,2],residual_sd=summary(m)$sigma,R_squared=summary(m)$r.squared,pred25=p[1],pred25_PI95_lo=p[2],pred25_PI95_hi=p[3],pred25_CI95_lo=pc[2],pred25_CI95_hi=pc[3],mean_diff=unname(tt$estimate),paired_t=unname(tt$statistic)) },
 "lmm-sleepstudy"=function(C) { d <- rd(C); suppressMessages(library(lme4)); o <- c(); for (R in c(FALSE,TRUE)) { m <- lmer(y~t+(t|unit),d,REML=R,control=lmerControl(optimizer="bobyqa",optCtrl=list(maxfun=1e6))); v <- as.data.frame(VarCorr(m)); se <- sqrt(diag(as.matrix(vcov(m)))); n <- if (R) "REML_" else "ML_"
   o <- c(o,setNames(c(fixef(m),se,v$sdcor[1],v$sdcor[2],v$sdcor[3],sigma(m),-2*as.numeric(logLik(m))),paste0(n,c("intercept","slope","se_intercept","se_slope","sd_intercept","sd_slope","corr","sigma","minus2loglik"))))
   if (R) { u <- ranef(m)$unit; o <- c(o,blup308_intercept=u["308",1],blup308_slope=u["308",2],blup335_slope=u["335",2]) } }; o },
 "laser-lmm-origin"=function(C) { U <- LAS(); th <- wfit(U,c("mu","tau","s"),list(mu=.002,tau=4e-4,s=.2,scale=list(mu=1e-3))); k <- kf(U[["101"]]$t[1:8],U[["101"]]$y[1:8],th); ell <- c(1500,2000,2500); z <- function(L) (k$x[1]+k$x[2]*L-10)/sqrt(k$P[1,1]+2*L*k$P[1,2]+L^2*k$P[2,2])
   c(wres(th,c("mu","tau","s","loglik")), u101_x=k$x[1],u101_b=k$x[2],setNames(pnorm(z(ell)),paste0("u101_F_",ell))) },
 "laser-wiener-ml"=function(C) { U <- LAS(); sc <- list(scale=list(mu=1e-3)); A <- wfit(U,c("mu","sB"),c(list(mu=.002,sB=.012),sc)); B <- wfit(U,c("mu","tau","sB"),c(list(mu=.002,tau=4e-4,sB=.011),sc)); D <- wfit(U,c("mu","tau","sB","s"),c(list(mu=.002,tau=4e-4,sB=.0104,s=.033),sc))
   c(setNames(wres(A,c("mu","sB","loglik")),paste0("W0_",c("mu","sigma_B","loglik"))),setNames(wres(B,c("mu","tau","sB","loglik")),paste0("W_",c("mu","tau","sigma_B","loglik"))),setNames(wres(D,c("mu","tau","sB","s","loglik")),paste0("WME_",c("mu","tau","sigma_B","sigma_e","loglik")))) },
 "laser-kalman"=function(C) { U <- LAS(); th <- TH(C); u <- U[["101"]]; k <- kf(u$t[1:8],u$y[1:8],th); kk <- kf(u$t,u$y,th); pr <- function(t) { h <- t-2000; c(k$x[1]+k$x[2]*h, sqrt(k$P[1,1]+2*h*k$P[1,2]+h^2*k$P[2,2]+th$sB^2*h+th$s^2)) }; ell <- c(1000,1500,2000,2500); G <- F_level(ell,10,k$x,k$P,th$sB^2); q <- rulq(c(.1,.5,.9),10,k$x,k$P,th$sB^2,8000)
   c(x=k$x[1],b=k$x[2],P_xx=k$P[1,1],P_xb=k$P[1,2],P_bb=k$P[2,2],loglik8=k$ll,loglik16=kk$ll,loglik_all15=wll(U,th),pred3000_mean=pr(3000)[1],pred3000_sd=pr(3000)[2],pred4000_mean=pr(4000)[1],pred4000_sd=pr(4000)[2],setNames(G$F,paste0("RUL_F_",ell)),RUL_q10=q[1],RUL_q50=q[2],RUL_q90=q[3]) },
 "laser-backtest"=function(C) { U <- lapply(LAS(),function(u) list(t=u$t/1000,y=u$y)); a <- backtest(U,6,"LMM",c(.42,.33,.05),3); b <- backtest(U,6,"WME",c(.42,.33,.05),3); c(setNames(a,paste0("LMM_",names(a))),setNames(b,paste0("WME_",names(b)))) },
 "wiener-hyper-average"=function(C) { U <- LAS(); t <- U[[1]]$t/1000; tr <- c("101","102","103"); Y <- sapply(U[tr],`[[`,"y"); k <- 4; tt <- t[1:k]; yt <- U[["104"]]$y[1:k]; D <- 6; cen <- log(c(.5,.4,.16)); G <- expand.grid(a=seq(-3.5,3.5,length.out=17),b=seq(-1.7,.9,length.out=21),c=seq(-6,2.2,length.out=21)); th <- function(g) list(al=0,mu=0,om=0,tau=exp(cen[1]+g[1]),sB=exp(cen[2]+g[2]),s=exp(cen[3]+g[3]))
   r <- t(apply(as.matrix(G),1,function(g) { h <- th(g); R <- chol(covm(t,h)); X <- backsolve(R,t,transpose=TRUE); Z <- backsolve(R,Y,transpose=TRUE); A <- 3*sum(X^2); bb <- sum(X*Z); c(-0.5*(6*sum(log(diag(R)))+sum(Z^2)-bb^2/A+log(A)+47*log(2*pi))-sum(g^2)/2-1.5*log(2*pi),bb/A,1/A) }))
   lw <- r[,1]; w <- exp(lw-max(lw)); vol <- (7/16)*(2.6/20)*(8.2/20); ev <- max(lw)+log(sum(w))+log(vol); w <- w/sum(w); m <- function(x) sum(w*x); o <- c(log_evidence=ev,mean_log_tau=cen[1]+m(G$a),mean_log_sigma_B=cen[2]+m(G$b),mean_log_sigma_e=cen[3]+m(G$c),sd_log_tau=sqrt(m(G$a^2)-m(G$a)^2),sd_log_sigma_B=sqrt(m(G$b^2)-m(G$b)^2),mean_mu=m(r[,2])); i <- which(w>1e-8); h <- lapply(i,function(j) th(unlist(G[j,]))); nw <- c(2.5,3,4)
   Fn <- sapply(nw,function(L) sum(w[i]*mapply(function(h,j) F_drift(L,D,r[j,2],h$tau^2+r[j,3],h$sB^2),h,i))/sum(w[i])); st <- mapply(function(h,j) { h$mu <- r[j,2]; h$tau <- sqrt(h$tau^2+r[j,3]); kf(tt,yt,h) },h,i,SIMPLIFY=FALSE); l2 <- lw[i]+sapply(st,`[[`,"ll"); w2 <- exp(l2-max(l2)); w2 <- w2/sum(w2); ls <- c(1.5,2,2.5,3); q <- mapply(function(h,s) { F0 <- pnorm((s$x[1]-D)/sqrt(s$P[1,1])); Fc <- bt_F(ls,D,s$x,s$P,h$sB^2); mm <- s$x[1]+2*s$x[2]; v <- s$P[1,1]+4*s$P[1,2]+4*s$P[2,2]+2*h$sB^2+h$s^2; c(F0+(1-F0)*Fc,F0,mm,v+mm^2) },h,st); e <- drop(q%*%w2)
   c(o,setNames(Fn,paste0("new_item_F_",nw)),setNames((e[1:4]-e[5])/(1-e[5]),paste0("u104_RUL_F_",ls)),u104_pred_3_mean=e[[6]],u104_pred_3_sd=sqrt(e[[7]]-e[[6]]^2)) },
 "fpt-table"=function(C) unlist(lapply(seq_along(C$data$rows),function(i){ r <- C$data$rows[[i]]; setNames(c(F_drift(r$l,r$d,r$m,r$v,r$s2), f_drift(r$l,r$d,r$m,r$v,r$s2)),paste0(c("F_","f_"),i)) })),
 "fpt-level-table"=function(C) unlist(lapply(seq_along(C$data$rows),function(i){ r <- C$data$rows[[i]]; g <- F_level(r$l,r$D,c(r$mx,r$mb),matrix(c(r$Pxx,r$Pxb,r$Pxb,r$Pbb),2),r$s2); setNames(c(g$F,g$Fc),paste0(c("F_","Fcond_"),i)) })),
 "special-functions"=function(C) { e <- sapply(C$data$erfcx_x,as.numeric); l <- sapply(C$data$log_ndtr_x,as.numeric); c(setNames(ifelse(e<0,exp(e^2)*2*pnorm(-e*sqrt(2)),erfcx(e)),paste0("erfcx_",seq_along(e))),setNames(pnorm(l,log.p=TRUE),paste0("log_ndtr_",seq_along(l)))) },
 "ig-first-passage"=function(C) { d <- 10; m <- 2; s2 <- .5; mu <- d/m; lam <- d^2/s2; suppressMessages(library(statmod)); c(mean=mu,variance=mu^3/lam,F_4=pinvgauss(4,mu,lam),F_5=pinvgauss(5,mu,lam),F_6=pinvgauss(6,mu,lam),q_0.1=qinvgauss(.1,mu,lam),q_0.5=qinvgauss(.5,mu,lam),q_0.9=qinvgauss(.9,mu,lam)) },
 "laser-gamma-process"=function(C) { inc <- unlist(lapply(LAS(),function(u) diff(c(0,u$y)))); lb <- log(mean(inc))-mean(log(inc)); a <- uniroot(function(a) log(a)-digamma(a)-lb,c(.1,100),tol=1e-13)$root; b <- mean(inc)/a; c(shape_per_250h=a,scale=b,loglik=sum(dgamma(inc,a,scale=b,log=TRUE)),P_level_4000h_below_10=pgamma(10,a*16,scale=b)) },
 "battery-fade"=function(C) { d <- rd(C); U <- units(d); eol <- sapply(U,function(u){j<-which(u$y<1.4)[1]; if(is.na(j)) -1 else u$t[j]}); V <- lapply(U,function(u){i<-seq(6,length(u$t),6); list(t=u$t[i]/100,y=u$y[1]-u$y[i])}); th <- wfit(V,c("mu","tau","sB","s"),list(mu=.35,tau=.05,sB=.06,s=.01,scale=list(mu=.1))); c(setNames(eol,paste0("EOL_first_cycle_below_1.4_",names(eol))),wres(th,c("mu","tau","sB","s","loglik"))) },
 "alloyA-crack"=function(C) { d <- rd(C); U <- units(d); ct <- sapply(U,function(u) crosst(u$t,u$y,1.6)); c(n_cross=sum(!is.na(ct)),setNames(ct[c("1","2","10","13")[1:3]],paste0("t16_unit",c(1,2,10))),setNames(sapply(U[c("1","10","21")],function(u){z<-1-(u$y/.9)^-3.75; tt<-u$t; sum(tt*z)/sum(tt^2)}),paste0("slope_lin_unit",c(1,10,21)))) },
 "metalwear-loglog"=function(C) { d <- rd(C); suppressMessages(library(lme4)); m <- lmer(log(y)~log(t)+log(grams)+(1|unit),d,REML=FALSE); c(setNames(fixef(m),c("intercept","exponent_cycles","exponent_grams")),sd_unit=as.data.frame(VarCorr(m))$sdcor[1],sigma=sigma(m),loglik=as.numeric(logLik(m))) },
 "weibull-nist-8413"=function(C) { m <- mle(life(C$data),"weibull"); m[c("beta","eta","mu","sigma","se_mu","se_sigma","loglik")] },
 "weibull-abernethy-c5"=function(C) mle(life(C$data),"weibull")[c("beta","eta","loglik")],
 "weibull-jqt1997"=function(C) { m <- mle(life(C$data),"weibull"); z <- 1.959963984540054; c(m[c("beta","eta","se_beta","se_eta","loglik")],beta_wald_lo=m[["beta"]]-z*m[["se_beta"]],beta_wald_hi=m[["beta"]]+z*m[["se_beta"]],eta_wald_lo=m[["eta"]]-z*m[["se_eta"]],eta_wald_hi=m[["eta"]]+z*m[["se_eta"]],beta_log_lo=m[["beta"]]*exp(-z*m[["se_logsigma"]]),beta_log_hi=m[["beta"]]*exp(z*m[["se_logsigma"]])) },
 "ballbearing"=function(C) { d <- life(C$data); w <- mle(d,"weibull"); l <- mle(d,"lognormal"); c(W_beta=w[["beta"]],W_eta=w[["eta"]],W_loglik=w[["loglik"]],LN_mu=l[["mu"]],LN_sigma=l[["sigma"]],LN_loglik=l[["loglik"]]) },
 "shockabsorber"=function(C) { d <- life(C$data); w <- mle(d,"weibull"); l <- mle(d,"lognormal"); q <- qls(w,.1,"weibull"); S <- function(t) exp(-(t/w[["eta"]])^w[["beta"]]); t0 <- 15000; c(w[c("mu","sigma","se_mu","se_sigma","beta","eta","loglik")],eta_log_lo95=w[["eta"]]*exp(-1.959963984540054*w[["se_mu"]]),eta_log_hi95=w[["eta"]]*exp(1.959963984540054*w[["se_mu"]]),beta_log_lo95=w[["beta"]]*exp(-1.959963984540054*w[["se_logsigma"]]),beta_log_hi95=w[["beta"]]*exp(1.959963984540054*w[["se_logsigma"]]),B10=q[1],B10_lo95=q[2],B10_hi95=q[3],LN_mu=l[["mu"]],LN_sigma=l[["sigma"]],LN_loglik=l[["loglik"]],residual_S_5000_at_15000=S(t0+5000)/S(t0),residual_median_at_15000=w[["eta"]]*((t0/w[["eta"]])^w[["beta"]]+log(2))^(1/w[["beta"]])-t0) },
 "locomotive-lognormal"=function(C) mle(life(C$data),"lognormal")[c("mu","sigma","se_mu","se_sigma","loglik")],
 "interval-heatexchanger"=function(C) { d <- life(C$data); w <- mle(d,"weibull"); l <- mle(d,"lognormal"); c(w[c("beta","eta","mu","sigma","se_mu","se_sigma","loglik")],LN_mu=l[["mu"]],LN_sigma=l[["sigma"]],LN_loglik=l[["loglik"]]) },
 "currentstatus-turbinewheel"=function(C) { d <- life(C$data); w <- mle(d,"weibull"); l <- mle(d,"lognormal"); c(LN_mu=l[["mu"]],LN_sigma=l[["sigma"]],LN_se_mu=l[["se_mu"]],LN_se_sigma=l[["se_sigma"]],LN_loglik=l[["loglik"]],W_beta=w[["beta"]],W_eta=w[["eta"]],W_loglik=w[["loglik"]]) },
 "lefttrunc-circuitpack"=function(C) { d <- life(C$data); w <- mle(d,"weibull"); d0 <- d; d0$entry <- 0; w0 <- mle(d0,"weibull"); l <- mle(d,"lognormal"); c(w[c("beta","eta","mu","sigma","se_mu","se_sigma","loglik")],LN_mu=l[["mu"]],LN_sigma=l[["sigma"]],LN_loglik=l[["loglik"]],ignoring_truncation_beta=w0[["beta"]],ignoring_truncation_eta=w0[["eta"]]) },
 "weibull-all-kinds"=function(C) { d <- life(C$data); f <- function(p) llf(c(log(p[2]),-log(p[1])),d,"weibull"); g <- numDeriv::grad(f,c(1.5,100)); Hm <- numDeriv::hessian(f,c(1.5,100)); m <- mle(d,"weibull"); c(loglik_at=f(c(1.5,100)),dl_dbeta=g[1],dl_deta=g[2],d2_bb=Hm[1,1],d2_be=Hm[1,2],d2_ee=Hm[2,2],m[c("beta","eta","se_beta","se_eta","loglik")]) },
 "km-6mp"=function(C) { f <- survfit(Surv(num(C$data$time),num(C$data$event))~1); g <- survfit(Surv(num(C$data$time),num(C$data$event))~1,conf.type="log-log"); s <- summary(f,times=13); s2 <- summary(g,times=13); c(kmtab(f,c(6,7,10,13,16,22,23)),log_lo_13=s$lower,log_hi_13=s$upper,loglog_lo_13=s2$lower,loglog_hi_13=s2$upper,median=unname(quantile(f,.5)$quantile)) },
 "km-delayed-entry"=function(C) { a <- num(C$data$entry); b <- num(C$data$exit); e <- num(C$data$event); f <- survfit(Surv(a,b,e)~1); i <- f$n.event>0; c(setNames(f$n.risk[i],paste0("risk_",f$time[i])),setNames(f$surv[i],paste0("S_",f$time[i]))) },
 "weibayes"=function(C) { t <- num(C$data$time); b <- 2; S <- sum(t^b); a0 <- .5; b0 <- 2e4; c(weibayes_eta_r1=(S/1)^(1/b), eta_lower_90=(S/(-log(.1)))^(1/b), eta_lower_95=(S/(-log(.05)))^(1/b), post_a=a0+0, post_b=b0+S, pred_S_300=((b0+S)/(b0+S+300^b))^a0, pred_resid_S_100_given_300=((b0+S+300^b)/(b0+S+400^b))^a0, two_fail_eta=(S/2)^(1/b), two_fail_eta_lower_90=(2*S/qchisq(.9,2*2+2))^(1/b)) },
 "bayes-weibull-grid"=function(C) { d <- life(C$data); lp <- function(lb,le) llf(c(le,-lb),d,"weibull")+dnorm(lb,log(2),.5,log=TRUE)+dnorm(le,log(4000),1,log=TRUE); n <- 321; lb <- seq(log(2)-2.2,log(2)+1.9,length.out=n); le <- seq(log(4000)-3,log(4000)+4,length.out=n); L <- outer(lb,le,Vectorize(lp)); w <- exp(L-max(L)); w <- w/sum(w); B <- exp(outer(lb,rep(1,n))); E <- exp(outer(rep(1,n),le)); S <- function(t) exp(-(t/E)^B); ev <- function(x) sum(w*x)
   c(post_mean_beta=ev(B),post_sd_beta=sqrt(ev(B^2)-ev(B)^2),post_mean_log_eta=ev(log(E)),post_sd_log_eta=sqrt(ev(log(E)^2)-ev(log(E))^2),pred_S_1000=ev(S(1000)),pred_S_3000=ev(S(3000)),pred_S_6000=ev(S(6000)),resid_new_item_2000_to_3000=ev(S(3000))/ev(S(2000)),resid_item_in_data_2000_to_3000=ev(exp((2000/E)^B-(3000/E)^B)),log_evidence=max(L)+log(sum(exp(L-max(L))))+log(diff(lb)[1]*diff(le)[1])) },
 "competing-shock"=function(C) { t <- num(C$data$km); m <- unlist(C$data$mode); f <- function(k) mle(life(list(lower=t,upper=ifelse(m==k,t,NA))),"weibull"); a <- f("Mode1"); b <- f("Mode2"); S <- function(t,r) exp(-(t/r[["eta"]])^r[["beta"]]); h <- function(t,r) r[["beta"]]/r[["eta"]]*(t/r[["eta"]])^(r[["beta"]]-1); cif <- function(x,r) integrate(function(u) h(u,r)*S(u,a)*S(u,b),0,x,rel.tol=1e-10)$value
   aj <- survfit(Surv(t,factor(m,levels=c("Censored","Mode1","Mode2")))~1); s <- summary(aj,times=c(15000,20000)); c(m1_beta=a[["beta"]],m1_eta=a[["eta"]],m1_loglik=a[["loglik"]],m2_beta=b[["beta"]],m2_eta=b[["eta"]],m2_loglik=b[["loglik"]],R_10000=S(1e4,a)*S(1e4,b),R_20000=S(2e4,a)*S(2e4,b),CIF1_20000=cif(2e4,a),CIF2_20000=cif(2e4,b),AJ1_15000=s$pstate[1,2],AJ2_15000=s$pstate[1,3],AJ1_20000=s$pstate[2,2],AJ2_20000=s$pstate[2,3]) },
 "accidental-gamma"=function(C) { a <- 1+3; b <- 50+240; Sw <- function(t) exp(-(t/60)^3); Sm <- function(t) Sw(t)*(b/(b+t))^a; c(post_a=a,post_b=b,rate_mean=a/b,rate_lo90=qgamma(.05,a,b),rate_hi90=qgamma(.95,a,b),P_no_breakage_20=(b/(b+20))^a,P_ge_1_in_3x10=1-(b/(b+30))^a,S_mixed_40=Sm(40),median_mixed=uniroot(function(t) Sm(t)-.5,c(1,200),tol=1e-11)$root,P_first_is_breakage_by_60=integrate(function(t) a/(b+t)*Sm(t),0,60,rel.tol=1e-11)$value,P_count_0=dnbinom(0,a,b/(b+30)),P_count_1=dnbinom(1,a,b/(b+30)),P_count_2=dnbinom(2,a,b/(b+30))) },
 "crps-closed-forms"=function(C) c(N01_0=crps_norm(0,0,1),N01_1.5=crps_norm(1.5,0,1),N_10_2_13=crps_norm(13,10,2),Exp_0.1_5=crps_exp(5,.1),LN_3_0.5_30=crps_lnorm(30,3,.5),LN_3_0.5_5=crps_lnorm(5,3,.5),Weib_2_50_40=crps_weib(40,2,50),Weib_2_50_120=crps_weib(120,2,50),Gamma_3_4_20=crps_gamma(20,3,4),ens_8=crps_ens(3.2,c(1,2,2.5,3,3.5,4,5,9)),ens_8_fair=crps_ens_fair(3.2,c(1,2,2.5,3,3.5,4,5,9)),fpt_drift_6000=crps_cdf(6000,function(l) F_drift(pmax(l,1e-9),10,.0020375,.00042^2,.0104^2),6e4),pinball_0.9_q50_y40=(1-.9)*(50-40),pinball_0.9_q50_y65=.9*(65-50)) ,
 "calibration-metrics"=function(C) { m <- num(C$data$mean); s <- num(C$data$sd); y <- num(C$data$y); z <- (y-m)/s; cv <- function(p) mean(abs(z)<=qnorm(.5+p/2)); a <- .2; l <- m-s*qnorm(.9); u <- m+s*qnorm(.9); c(coverage50=cv(.5),coverage80=cv(.8),coverage95=cv(.95),mean_crps=mean(crps_norm(y,m,s)),mean_log_score=mean(-dnorm(y,m,s,log=TRUE)),mean_interval_score80=mean(u-l+2/a*pmax(l-y,0)+2/a*pmax(y-u,0)),mean_abs_err=mean(abs(y-m)),PIT_1=pnorm(z[1]),PIT_12=pnorm(z[12]),z_sd=sqrt(mean(z^2))) }
)
## ---- runner: recompute every value and compare with cases.json --------------------------------
J <- fromJSON(file.path(BASE,"cases.json"),simplifyVector=FALSE); only <- commandArgs(TRUE); bad <- 0; n <- 0
for (C in J$cases) { if (length(only) && !(C$id %in% only)) next
  v <- FUN[[C$id]](C); k <- 0
  for (e in C$expected) { n <- n+1; got <- v[[e$q]]; if (!(abs(got-e$value) <= e$rel_tol*max(abs(e$value),1e-300))) { bad <- bad+1; k <- k+1; cat("FAIL",C$id,e$q,"expected",format(e$value,digits=12),"got",format(got,digits=12),"\n") } }
  cat(sprintf("%-30s %3d values, %d off\n",C$id,length(C$expected),k)) }
cat(n,"values recomputed,",bad,"outside tolerance\n"); if (bad) quit(status=1)

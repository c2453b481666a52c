-- grain: the fit that all sensors were scored with
select * from marts.risk_fit

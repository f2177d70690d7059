<#
.SYNOPSIS
  Installs or removes Stiltwright as a Windows service. Run in an elevated PowerShell.
.EXAMPLE
  .\windows-service.ps1 -Action Install -Program C:\Stiltwright\stiltwright.exe -Config C:\ProgramData\Stiltwright\config
  .\windows-service.ps1 -Action Remove
.NOTES
  Without -Credential the service runs as LocalSystem, which no share on another PC knows and which has more rights than it
  needs: give it an account of its own that is no administrator and has the right "Log on as a service".
  The account must be able to read and write the share. A share on another PC needs a domain or local account that has
  rights there; pass it with -Credential.
#>
param(
  [Parameter(Mandatory)][ValidateSet('Install', 'Remove')][string]$Action,
  [string]$Program = 'C:\Stiltwright\stiltwright.exe',
  [string]$Config = 'C:\ProgramData\Stiltwright\config',
  [pscredential]$Credential
)
$ErrorActionPreference = 'Stop'
$name = 'Stiltwright'

if ($Action -eq 'Remove') {
  Stop-Service $name -ErrorAction SilentlyContinue
  sc.exe delete $name
  if ($LASTEXITCODE -ne 0) { throw "The service could not be removed (sc.exe says $LASTEXITCODE)." }
  exit 0
}

if (-not (Test-Path $Program)) { throw "There is no program $Program." }
if (-not (Test-Path (Join-Path $Config 'stiltwright.json'))) { throw "There is no stiltwright.json in $Config." }
& $Program check --config $Config
if ($LASTEXITCODE -ne 0) { throw 'The configuration has mistakes; see above.' }

$arguments = @{
  Name           = $name
  BinaryPathName = "`"$Program`" serve --config `"$Config`""
  DisplayName    = 'Stiltwright'
  Description    = 'Enlarges pre-supported figures for resin printing.'
  StartupType    = 'Automatic'
}
if ($Credential) { $arguments.Credential = $Credential }
New-Service @arguments | Out-Null
# Delayed: the network should be there before the share is looked for. Recovery also where it ends with an error of its own.
sc.exe config $name start= delayed-auto | Out-Null
if ($LASTEXITCODE -ne 0) { throw "The delayed start could not be set (sc.exe says $LASTEXITCODE)." }
sc.exe failure $name reset= 86400 actions= restart/5000/restart/30000/restart/300000 | Out-Null
if ($LASTEXITCODE -ne 0) { throw "The recovery actions could not be set (sc.exe says $LASTEXITCODE)." }
sc.exe failureflag $name 1 | Out-Null
if ($LASTEXITCODE -ne 0) { throw "The recovery actions could not be set (sc.exe says $LASTEXITCODE)." }
Start-Service $name
Get-Service $name

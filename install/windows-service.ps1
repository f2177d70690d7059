<#
.SYNOPSIS
  Installs or removes Stiltwright as a Windows service. Run in an elevated PowerShell.
.EXAMPLE
  .\windows-service.ps1 -Action Install -Program C:\Stiltwright\stiltwright.exe -Config C:\ProgramData\Stiltwright\config
  .\windows-service.ps1 -Action Remove
.NOTES
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
  exit $LASTEXITCODE
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
sc.exe config $name start= delayed-auto | Out-Null
sc.exe failure $name reset= 86400 actions= restart/5000/restart/30000/restart/300000 | Out-Null
Start-Service $name
Get-Service $name
